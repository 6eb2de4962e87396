// The note that hangs from a spot: why it holds or not, and what can be put there.

import type { JSX } from "preact";
import { useEffect, useRef } from "preact/hooks";
import type { Desk, Spot } from "../desk.ts";
import { lineAt, place, round } from "../format.ts";
import type { Edit, P3, State } from "../types.ts";
import type { Change } from "./view.ts";

/** What is said while a contact line waits for its other end. */
export const lineBegun = "Now the spot where the contact line ends; Esc lets it be";

interface Props {
  desk: Desk;
  state: State;
  spot: Spot;
  change: Change;
  startLine: (from: P3) => void;
  style: { left: string; top: string } | null;
  focus: boolean; // asked by the keyboard
}

export function Note({ desk, state, spot, change, startLine, style, focus }: Props): JSX.Element {
  const note = useRef<HTMLElement>(null);
  useEffect(() => {
    if (focus) note.current?.focus();
  }, [spot.at, focus]);
  const { at, normal, answer } = spot;
  const put = (e: Edit): void => void desk.edit(e);
  const here: P3 = [round(at[0]), round(at[1]), round(at[2])];
  const bridge = Number(state.plan.settings["bridge_mm"] ?? 10);
  const face = { at: here, normal: normal.map((v) => Math.round(v * 1e5) / 1e5) as P3 };
  const held = answer === null ? "…" : answer.held ? "Held" : "Not held";
  return (
    <aside class={`note${answer && !answer.held ? " bare" : ""}${style ? "" : " fixed"}`} ref={note} tabIndex={-1} aria-label="Note about the spot" {...(style ? { style } : {})}>
      <header>
        <b data-held={answer ? String(answer.held) : ""}>{held}</b>
        <span class="where">{place(at)}</span>
        <button type="button" class="close" aria-label="Take the note away" onClick={() => desk.forget()}>
          ×
        </button>
      </header>
      <p aria-live="polite">{answer?.text ?? "asking …"}</p>
      {answer && answer.by.length > 0 && (
        <p>
          By{" "}
          {answer.by.map((id) => (
            <button type="button" class="ref" key={id} onClick={() => change({ selected: id, tab: "schedule" })}>
              {id}
            </button>
          ))}
        </p>
      )}
      {answer && answer.remedies.length > 0 && (
        <details>
          <summary>do without, by a change of the part</summary>
          {answer.remedies.map((r) => (
            <p key={r.name}>{r.text}</p>
          ))}
        </details>
      )}
      <div class="words" role="group" aria-label="Put here">
        <button type="button" onClick={() => put({ op: "add-post", at: [here[0], here[1]] })}>
          Post
        </button>
        <button type="button" onClick={() => put({ op: "add-line", at: lineAt(here, bridge) })}>
          Contact along x
        </button>
        <button type="button" onClick={() => put({ op: "add-line", at: lineAt(here, bridge).map((v) => [here[0], here[1] + v[0] - here[0], v[2]]) as P3[] })}>
          along y
        </button>
        <button type="button" onClick={() => startLine(here)}>
          to the next spot
        </button>
        <button type="button" onClick={() => put({ op: "add-sheet", at: here })}>
          Sheet
        </button>
        <button type="button" onClick={() => put({ op: "add-steps", at: here })}>
          Steps
        </button>
      </div>
      <div class="words" role="group" aria-label="This face">
        <button type="button" onClick={() => put({ op: "add-zone", kind: "keep-clean", face })}>
          ▽ Keep this face clean
        </button>
        <button type="button" onClick={() => put({ op: "add-zone", kind: "must-hold", face })}>
          ▼ It must hold
        </button>
      </div>
    </aside>
  );
}
