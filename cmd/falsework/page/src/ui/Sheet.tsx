// The sheet: frame, notes with their index tabs, drawing, section ruler, title block.

import type { JSX } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import type { Desk } from "../desk.ts";
import { mm, round } from "../format.ts";
import type { P2 } from "../types.ts";
import { views, type ViewName } from "../view/rig.ts";
import { Findings } from "./Findings.tsx";
import { Help } from "./Help.tsx";
import { Model } from "./Model.tsx";
import { PlanView } from "./PlanView.tsx";
import { Poses } from "./Poses.tsx";
import { rowsOf } from "./rows.ts";
import { Schedule } from "./Schedule.tsx";
import { Settings } from "./Settings.tsx";
import { TitleBlock } from "./TitleBlock.tsx";
import { useDesk } from "./use.ts";
import { firstView, type Tab, type View } from "./view.ts";

const tabs: [Tab, string][] = [
  ["schedule", "Schedule"],
  ["findings", "Findings"],
  ["particulars", "Particulars"],
  ["poses", "Way up"],
];

const named: [ViewName, string, string][] = [
  ["three-quarter", "three-quarter", "1"],
  ["front", "front", "2"],
  ["side", "side", "3"],
  ["above", "above", "4"],
  ["below", "below", "B"],
];

export function Sheet({ desk }: { desk: Desk }): JSX.Element {
  useDesk(desk);
  const [view, setView] = useState<View>(firstView);
  const change = (part: Partial<View>): void => setView((was) => ({ ...was, ...part }));
  const latest = useRef(view);
  latest.current = view;
  const { state, part } = desk;

  // The first look is from the side that hangs over.
  useEffect(() => {
    if (!part || !state?.need.regions.length || view.towards !== null) return;
    const [dx, dy] = [0, 1].map((i) => state.need.regions.reduce((sum, r) => sum + r.area_mm2 * (r.center_mm[i]! - (part.min[i]! + part.max[i]!) / 2), 0));
    change({ towards: Math.hypot(dx!, dy!) > 1 ? Math.atan2(dy!, dx!) + 0.6 : views["three-quarter"].azimuth, turned: view.turned + 1 });
  }, [part, state?.ready.need]);

  // A section begins in the middle of what needs support, or of the part.
  useEffect(() => {
    if (!part || !state || view.z !== 0) return;
    const low = state.need.regions[0]?.z_mm[0];
    change({ z: round(low ?? part.size_mm[2] / 2) });
  }, [part, state?.ready.need]);

  const look = (name: ViewName): void => change({ name, turned: latest.current.turned + 1, plan: false });
  const step = Number(state?.plan.settings["layer_mm"] ?? 0.2);
  const top = part?.size_mm[2] ?? 1;
  const setZ = (z: number): void => change({ z: round(Math.max(0, Math.min(top, z))) });

  useEffect(() => {
    const keys = (e: KeyboardEvent): void => {
      const v = latest.current;
      const s = desk.state;
      if (!s || v.help) return;
      const key = e.key.length === 1 ? e.key.toLowerCase() : e.key;
      const act = (f: () => void): void => {
        e.preventDefault();
        f();
      };
      if (e.ctrlKey || e.metaKey) {
        if (key === "z") act(() => void (e.shiftKey ? desk.redo() : desk.undo()));
        else if (key === "y") act(() => void desk.redo());
        else if (key === "s") act(() => void desk.save());
        return;
      }
      if (e.target instanceof HTMLInputElement || e.target instanceof HTMLSelectElement) return;
      const row = rowsOf(s).find((r) => r.id === v.selected);
      const nudge: Record<string, P2> = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
      if (e.shiftKey && nudge[e.key]) {
        if (row) act(() => void desk.edit({ op: "move", id: row.id, by: nudge[e.key]! }));
        return;
      }
      const resize = (by: number): void => {
        const post = s.plan.posts.find((q) => q.id === v.selected);
        if (post?.side) void desk.edit({ op: "set", id: post.id, side: round(Math.max(0.5, post.side + by)) });
      };
      const does: Record<string, () => void> = {
        "1": () => look("three-quarter"),
        "2": () => look("front"),
        "3": () => look("side"),
        "4": () => look("above"),
        b: () => look(v.name === "below" ? "three-quarter" : "below"),
        g: () => change({ glass: !v.glass }),
        e: () => change({ exploded: !v.exploded }),
        x: () => change({ section: !v.section }),
        p: () => change({ plan: !v.plan }),
        PageUp: () => setZ(v.z + step),
        PageDown: () => setZ(v.z - step),
        l: () => void desk.layOut(),
        k: () => row && row.kind !== "zone" && void desk.edit({ op: "set", id: row.id, by: row.yours ? "tool" : "designer" }),
        "[": () => resize(-0.5),
        "]": () => resize(0.5),
        n: () => {
          const all = s.proof.reasons;
          const i = (v.finding + 1) % Math.max(1, all.length);
          const r = all[i];
          if (!r) return;
          change({ finding: i, tab: "findings", z: r.at_mm[2], selected: r.id ?? "" });
          void desk.ask(r.at_mm, [0, 0, -1]);
        },
        Delete: () => {
          if (!row) return;
          void desk.edit({ op: "delete", id: row.id });
          change({ selected: "" });
        },
        t: () => {
          change({ tab: "schedule", drawer: true });
          setTimeout(() => document.querySelector<HTMLElement>(".rows")?.focus());
        },
        v: () => document.querySelector<HTMLElement>(".view, .layer")?.focus(),
        "?": () => change({ help: true }),
        Escape: () => {
          desk.forget();
          desk.say("");
          change({ selected: "", finding: -1, drawer: false });
        },
      };
      const f = does[key];
      if (f) act(f);
    };
    addEventListener("keydown", keys);
    return () => removeEventListener("keydown", keys);
  }, [desk, step, top]);

  if (!state || !part) return <p class="opening">{desk.trouble || desk.message || "Unrolling the drawing …"}</p>;

  const fails = state.proof.reasons.length;
  return (
    <div class={`sheet${view.drawer ? " drawn" : ""}`}>
      <h1 class="sr">{state.part_name}: drawing table</h1>
      <nav class="views" aria-label="Views">
        {named.map(([name, label, key]) => (
          <button type="button" key={name} class="word" aria-pressed={!view.plan && view.name === name} title={`key ${key}`} onClick={() => look(name)}>
            {label}
          </button>
        ))}
        <span class="rule" />
        <Toggle on={view.plan} label="plan at z" key_="P" flip={() => change({ plan: !view.plan })} />
        <Toggle on={view.section} label="cut at z" key_="X" flip={() => change({ section: !view.section, plan: false })} />
        <Toggle on={view.glass} label="faint part" key_="G" flip={() => change({ glass: !view.glass })} />
        <Toggle on={view.exploded} label="exploded" key_="E" flip={() => change({ exploded: !view.exploded })} />
      </nav>
      <nav class="work" aria-label="Work">
        <button type="button" class="word" disabled={!state.can_undo} title="Ctrl+Z" onClick={() => void desk.undo()}>
          Undo
        </button>
        <button type="button" class="word" disabled={!state.can_redo} title="Ctrl+Y" onClick={() => void desk.redo()}>
          Redo
        </button>
        <button type="button" class="word" title="key L" onClick={() => void desk.layOut()}>
          Lay out the rest
        </button>
        <button type="button" class="word" title="Ctrl+S" onClick={() => void desk.save()}>
          Save the plan
        </button>
        <button type="button" class="word" onClick={() => void desk.bake()}>
          Bake
        </button>
        <button type="button" class="word" title="key ?" onClick={() => change({ help: true })}>
          Keys
        </button>
      </nav>
      <main class="drawing">
        {view.plan ? <PlanView desk={desk} state={state} view={view} change={change} /> : <Model desk={desk} state={state} view={view} change={change} />}
        <Progress desk={desk} />
        {desk.trouble && (
          <p class="trouble" role="alert">
            {desk.trouble}
          </p>
        )}
      </main>
      <aside class="notes" aria-label="Notes">
        <div class="index" role="tablist" aria-label="Notes">
          {tabs.map(([tab, label]) => (
            <button
              type="button"
              key={tab}
              role="tab"
              id={`tab-${tab}`}
              aria-selected={view.tab === tab}
              aria-controls="notes"
              onClick={() => change({ tab, drawer: view.tab === tab ? !view.drawer : true })}
            >
              {label}
              {tab === "findings" && fails > 0 ? ` △${fails}` : ""}
            </button>
          ))}
        </div>
        <div class="page" id="notes" role="tabpanel" aria-labelledby={`tab-${view.tab}`}>
          {view.tab === "schedule" && <Schedule desk={desk} state={state} view={view} change={change} />}
          {view.tab === "findings" && <Findings desk={desk} state={state} view={view} change={change} />}
          {view.tab === "particulars" && <Settings desk={desk} state={state} />}
          {view.tab === "poses" && <Poses desk={desk} state={state} />}
        </div>
      </aside>
      <footer class="foot">
        <div class="left">
          <p class="message" role="status" aria-live="polite">
            {desk.message}
          </p>
          <label class="ruler">
            <span>z</span>
            <input
              type="range"
              min={0}
              max={top}
              step={step}
              value={view.z}
              aria-valuetext={`${mm(view.z)} mm`}
              onInput={(e) => {
                setZ(Number(e.currentTarget.value));
                if (!latest.current.section && !latest.current.plan) change({ section: true });
              }}
            />
            <output>{mm(view.z)} mm</output>
          </label>
        </div>
        <TitleBlock desk={desk} state={state} />
      </footer>
      {view.help && <Help close={() => change({ help: false })} />}
    </div>
  );
}

function Toggle({ on, label, key_, flip }: { on: boolean; label: string; key_: string; flip: () => void }): JSX.Element {
  return (
    <button type="button" class="word" aria-pressed={on} title={`key ${key_}`} onClick={flip}>
      {label}
    </button>
  );
}

/** What was asked for and so can be stopped; what follows from an edit by itself cannot. */
const stoppable = new Set(["layout", "pose", "poses"]);

/** What is at work, once it has been for longer than a moment. */
function Progress({ desk }: { desk: Desk }): JSX.Element | null {
  const w = desk.working;
  const [late, setLate] = useState(false);
  const stage = w?.stage ?? "";
  useEffect(() => {
    setLate(false);
    if (!stage) return;
    const t = setTimeout(() => setLate(true), 800);
    return () => clearTimeout(t);
  }, [stage]);
  if (!w || !late) return null;
  return (
    <div class="progress" role="status">
      <span>{w.text} …</span>
      <progress {...(w.fraction === undefined ? {} : { value: w.fraction })} max={1} aria-label={w.text} />
      {stoppable.has(w.stage) && (
        <button type="button" class="word" onClick={() => void desk.cancel()}>
          Stop
        </button>
      )}
    </div>
  );
}
