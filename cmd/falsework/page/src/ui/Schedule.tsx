// The schedule: every structure of the plan as a row, and the particulars of the one chosen.

import type { JSX, TargetedKeyboardEvent } from "preact";
import { useEffect, useLayoutEffect, useRef } from "preact/hooks";
import type { Desk } from "../desk.ts";
import { mm, round } from "../format.ts";
import type { P2, State } from "../types.ts";
import { ownerSign, rowsOf, type Row } from "./rows.ts";
import type { Change, View } from "./view.ts";

interface Props {
  desk: Desk;
  state: State;
  view: View;
  change: Change;
}

export function Schedule({ desk, state, view, change }: Props): JSX.Element {
  const rows = rowsOf(state);
  const list = useRef<HTMLDivElement>(null);
  const at = rows.findIndex((r) => r.id === view.selected);
  const chosen = rows[at];

  useEffect(() => {
    list.current?.querySelector('[aria-selected="true"]')?.scrollIntoView({ block: "nearest" });
  }, [view.selected]);

  const keys = (e: TargetedKeyboardEvent<HTMLDivElement>): void => {
    if (e.shiftKey || e.ctrlKey || e.metaKey || e.altKey) return;
    const to = ({ ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: rows.length - 1 } as Record<string, number>)[e.key];
    if (to === undefined) return;
    e.preventDefault();
    e.stopPropagation();
    change({ selected: rows[Math.max(0, Math.min(rows.length - 1, to))]?.id ?? "" });
  };

  return (
    <>
      <div
        class="rows"
        role="listbox"
        aria-label="Structures and zones of the plan"
        tabIndex={0}
        ref={list}
        aria-activedescendant={chosen ? `row-${chosen.id}` : undefined}
        onKeyDown={keys}
      >
        {rows.map((r) => (
          <div
            key={r.id}
            id={`row-${r.id}`}
            class={`row ${r.kind}`}
            role="option"
            aria-selected={r.id === view.selected}
            onClick={() => change({ selected: r.id === view.selected ? "" : r.id })}
          >
            <span class="sign" aria-label={r.kind === "zone" ? "zone" : r.yours ? "yours" : "drawn by the program"}>
              {ownerSign(r)}
            </span>
            <b>{r.id}</b>
            <span>{r.what}</span>
            <span class="where">{r.where}</span>
            {r.findings > 0 && <span class="count">△{r.findings}</span>}
          </div>
        ))}
        {rows.length === 0 && (
          <p class="quiet">
            Nothing stands here yet. Lay out the rest (<kbd>L</kbd>), or click a spot of the part and put something there.
          </p>
        )}
      </div>
      {chosen && <Particulars key={chosen.id} desk={desk} state={state} row={chosen} change={change} />}
      <p class="legend">
        ◆ yours, never changed · ◇ the program's · ▽ zone
        {(state.plan.struck?.posts?.length ?? 0) + (state.plan.struck?.lines?.length ?? 0) > 0 &&
          ` · ${(state.plan.struck?.posts?.length ?? 0) + (state.plan.struck?.lines?.length ?? 0)} struck out`}
      </p>
    </>
  );
}

interface Field {
  name: string;
  label: string;
  value: number | undefined;
  empty?: string;
}

function Particulars({ desk, state, row, change }: { desk: Desk; state: State; row: Row; change: Change }): JSX.Element {
  const post = state.plan.posts.find((q) => q.id === row.id);
  const line = state.plan.lines.find((l) => l.id === row.id);
  const set = (fields: Record<string, unknown>): void => void desk.edit({ op: "set", id: row.id, ...fields });
  const fields: Field[] = [];
  if (post) {
    fields.push({ name: "x", label: "x", value: post.at[0] }, { name: "y", label: "y", value: post.at[1] });
    if (post.side) fields.push({ name: "side", label: "side", value: post.side }, { name: "head", label: "head, 0 as high as may be", value: post.head ?? 0 });
    else if (!post.under) fields.push({ name: "reach", label: "reach", value: post.reach });
    fields.push({ name: "foot", label: "foot, 0 on the plate", value: post.foot ?? 0 });
  }
  const enter = (name: string, value: number): void => {
    if (!post) return;
    if (name === "x" || name === "y") set({ at: (name === "x" ? [value, post.at[1]] : [post.at[0], value]) as P2 });
    else set({ [name]: value });
  };
  return (
    <section class="particulars" aria-label={`Particulars of ${row.id}`}>
      <h3>
        {row.id} <small>{row.what}</small>
      </h3>
      {fields.length > 0 && (
        <div class="fields">
          {fields.map((f) => (
            <Measure key={f.name} {...f} enter={(v) => enter(f.name, v)} />
          ))}
        </div>
      )}
      {line && (
        <p class="points">
          {line.at.length > 5 ? `${line.at.length} points, from ` : ""}
          {(line.at.length > 5 ? [line.at[0]!, line.at[line.at.length - 1]!] : line.at).map((v) => `(${v.map((x) => mm(x, 1)).join(", ")})`).join(" – ")}
          {line.posts?.length ? ` gathers to ${line.posts.join(", ")}` : ""}
        </p>
      )}
      <div class="words">
        {row.kind !== "zone" && (
          <button type="button" onClick={() => set({ by: row.yours ? "tool" : "designer" })}>
            {row.yours ? "Unpin" : "Pin"} <kbd>K</kbd>
          </button>
        )}
        <button
          type="button"
          onClick={() => {
            void desk.edit({ op: "delete", id: row.id });
            change({ selected: "" });
          }}
        >
          Delete <kbd>Del</kbd>
        </button>
        <Nudge move={(by) => void desk.edit({ op: "move", id: row.id, by })} />
      </div>
    </section>
  );
}

/** Moves by a millimetre a press. */
function Nudge({ move }: { move: (by: P2) => void }): JSX.Element {
  const ways: [string, string, P2][] = [
    ["←", "x −1 mm", [-1, 0]],
    ["→", "x +1 mm", [1, 0]],
    ["↓", "y −1 mm", [0, -1]],
    ["↑", "y +1 mm", [0, 1]],
  ];
  return (
    <span class="nudge">
      {ways.map(([sign, label, by]) => (
        <button type="button" key={sign} aria-label={`Move ${label}`} title={`${label} (Shift+${sign})`} onClick={() => move(by)}>
          {sign}
        </button>
      ))}
    </span>
  );
}

/** A number on a line, taken when it is left or entered. */
export function Measure({ label, value, unit = "mm", enter }: { label: string; value: number | undefined; unit?: string; enter: (v: number) => void }): JSX.Element {
  const was = value === undefined ? "" : String(round(value));
  const input = useRef<HTMLInputElement>(null);
  const taken = useRef(was); // so that entering and then leaving is one edit
  useLayoutEffect(() => {
    taken.current = was;
    if (input.current) input.current.value = was;
  }, [was]);
  const take = (): void => {
    const box = input.current;
    if (!box || box.value === taken.current) return;
    const v = Number(box.value.replace(",", ".").replace("−", "-"));
    if (box.value.trim() === "" || !Number.isFinite(v)) {
      box.value = was;
      return;
    }
    taken.current = box.value;
    if (v !== value) enter(v);
  };
  return (
    <label class="measure">
      <span>{label}</span>
      <input
        type="text"
        inputMode="decimal"
        ref={input}
        defaultValue={was}
        onBlur={take}
        onKeyDown={(e) => {
          if (e.ctrlKey || e.metaKey) return;
          e.stopPropagation();
          if (e.key === "Enter") take();
          if (e.key === "Escape") {
            e.currentTarget.value = was;
            e.currentTarget.blur();
          }
        }}
      />
      <i>{unit}</i>
    </label>
  );
}
