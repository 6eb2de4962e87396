// Small hooks.

import { useEffect, useReducer, useState } from "preact/hooks";
import type { Desk } from "../desk.ts";

/** Draws the component anew whenever the desk changes. */
export function useDesk(desk: Desk): void {
  const [, again] = useReducer((n: number) => n + 1, 0);
  useEffect(() => desk.subscribe(() => again(undefined as never)), [desk]);
}

/** Follows a media query. */
export function useMedia(query: string): boolean {
  const [on, set] = useState(matchMedia(query).matches);
  useEffect(() => {
    const list = matchMedia(query);
    const f = (): void => set(list.matches);
    list.addEventListener("change", f);
    return () => list.removeEventListener("change", f);
  }, [query]);
  return on;
}
