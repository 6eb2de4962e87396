// The model on the sheet, and what hands do to it.

import type { JSX, TargetedKeyboardEvent } from "preact";
import { useLayoutEffect, useRef, useState } from "preact/hooks";
import type { Desk } from "../desk.ts";
import { round } from "../format.ts";
import type { P3, State } from "../types.ts";
import { listen } from "../view/input.ts";
import { lettered } from "../view/overlay.ts";
import { Stage } from "../view/stage.ts";
import { lineBegun, Note } from "./Note.tsx";
import { useMedia } from "./use.ts";
import type { Change, View } from "./view.ts";

interface Props {
  desk: Desk;
  state: State;
  view: View;
  change: Change;
}

interface Drag {
  id: string;
  from: P3;
  to: P3;
}

/** Pixels that a key turns or moves by. */
const step = 40;

/** Width of a note in pixels, as the style sheet has it. */
const noteWide = 268;

export function Model({ desk, state, view, change }: Props): JSX.Element {
  const host = useRef<HTMLDivElement>(null);
  const canvas = useRef<HTMLCanvasElement>(null);
  const marks = useRef<SVGSVGElement>(null);
  const stage = useRef<Stage | null>(null);
  const drag = useRef<Drag | null>(null);
  const from = useRef<P3 | null>(null); // of a line that waits for its other end
  const byKey = useRef(false);
  const was = useRef(-1); // the count of named views that was shown last
  const latest = useRef({ state, view, change, focused: false });
  latest.current.state = state;
  latest.current.view = view;
  latest.current.change = change;
  const dark = useMedia("(prefers-color-scheme: dark)");
  const narrow = useMedia("(max-width: 760px)");
  const [hang, setHang] = useState<{ left: string; top: string } | null>(null);

  const structureBox = (id: string): { min: P3; max: P3 } | null => {
    const b = stage.current?.boxOf(id);
    if (b) return { min: b.min.toArray(), max: b.max.toArray() };
    const post = latest.current.state.plan.posts.find((q) => q.id === id);
    if (!post) return null;
    const half = (post.side ?? 1) / 2;
    return { min: [post.at[0] - half, post.at[1] - half, post.foot ?? 0], max: [post.at[0] + half, post.at[1] + half, post.head ?? 0] };
  };

  const letter = (): void => {
    const s = stage.current;
    const svg = marks.current;
    if (!s || !svg) return;
    const { state, view, focused } = latest.current;
    const d = drag.current;
    const box = d ? structureBox(d.id) : null;
    const shift = d ? [d.to[0] - d.from[0], d.to[1] - d.from[1]] : [0, 0];
    const chosen = view.selected && !d ? structureBox(view.selected) : null;
    const spot = desk.spot?.at ?? from.current;
    const note = desk.spot && !narrow ? hangAt(s, desk.spot.at) : null;
    svg.innerHTML = lettered(s.rig, {
      min: s.min,
      max: s.max,
      cut: view.section ? view.z : null,
      reasons: state.proof.reasons,
      chosen: view.finding,
      stale: !state.ready.proof,
      zones: state.plan.zones,
      spot,
      note: note ? { x: note.x > s.rig.size().width / 2 ? note.x : note.x + noteWide, y: note.y + 20 } : null,
      label: chosen ? { text: view.selected, at: [chosen.max[0], chosen.max[1], chosen.max[2]] } : null,
      ghost:
        d && box
          ? {
              corners: [
                [box.min[0] + shift[0]!, box.min[1] + shift[1]!, d.from[2]],
                [box.max[0] + shift[0]!, box.min[1] + shift[1]!, d.from[2]],
                [box.max[0] + shift[0]!, box.max[1] + shift[1]!, d.from[2]],
                [box.min[0] + shift[0]!, box.max[1] + shift[1]!, d.from[2]],
              ],
              from: d.from,
              to: d.to,
            }
          : null,
      reticle: focused,
    });
    setHang((was) => {
      const now = note ? { left: `${Math.round(note.x)}px`, top: `${Math.round(note.y)}px` } : null;
      return was?.left === now?.left && was?.top === now?.top ? was : now;
    });
  };

  const ask = (x: number, y: number, keyboard: boolean): void => {
    const s = stage.current;
    if (!s) return;
    byKey.current = keyboard;
    const hit = s.pick(x, y);
    const { change } = latest.current;
    if (!hit) {
      desk.forget();
      change({ selected: "", finding: -1 });
      return;
    }
    if (hit.kind === "piece") {
      change({ selected: hit.id, tab: "schedule" });
      desk.forget();
      return;
    }
    const start = from.current;
    if (start) {
      from.current = null;
      desk.say("");
      void desk.edit({ op: "add-line", at: [start, hit.at.map(round) as P3] });
      return;
    }
    change({ finding: -1 });
    void desk.ask(hit.at, hit.normal);
  };

  // Before all that is shown on it.
  useLayoutEffect(() => {
    const box = host.current!;
    const off = new AbortController();
    let s: Stage;
    try {
      s = new Stage(canvas.current!, letter);
    } catch (e) {
      desk.say(`This browser draws no WebGL, so there is no model to see; schedule and plan work all the same. (${e instanceof Error ? e.message : ""})`);
      return;
    }
    stage.current = s;
    const size = new ResizeObserver(() => s.resize(box.clientWidth, box.clientHeight));
    size.observe(box);
    s.resize(box.clientWidth, box.clientHeight);
    listen(
      box,
      {
        orbit: (dx, dy) => (s.rig.orbit(dx, dy), s.invalidate()),
        pan: (dx, dy) => (s.rig.pan(dx, dy), s.invalidate()),
        zoom: (factor, x, y) => (s.rig.zoom(factor, x - box.clientWidth / 2, y - box.clientHeight / 2), s.invalidate()),
        tap: (x, y) => ask(x, y, false),
        grip: (x, y) => {
          const hit = s.pick(x, y);
          const { selected } = latest.current.view;
          if (hit?.kind !== "piece" || hit.id !== selected) return false;
          const level = s.level(x, y, hit.at[2]);
          if (!level) return false;
          drag.current = { id: hit.id, from: level, to: level };
          return true;
        },
        drag: (x, y) => {
          const d = drag.current;
          const level = d && s.level(x, y, d.from[2]);
          if (!d || !level) return;
          // Half millimetres are finer than a hand aims.
          d.to = [d.from[0] + Math.round((level[0] - d.from[0]) * 2) / 2, d.from[1] + Math.round((level[1] - d.from[1]) * 2) / 2, d.from[2]];
          s.invalidate();
        },
        release: (_x, _y, done) => {
          const d = drag.current;
          drag.current = null;
          s.invalidate();
          if (!d || !done) return;
          const by: [number, number] = [round(d.to[0] - d.from[0]), round(d.to[1] - d.from[1])];
          if (by[0] !== 0 || by[1] !== 0) void desk.edit({ op: "move", id: d.id, by });
        },
      },
      off.signal,
    );
    return () => {
      off.abort();
      size.disconnect();
      s.dispose();
      stage.current = null;
    };
  }, []);

  const { mesh, pieces } = desk;
  useLayoutEffect(() => {
    if (mesh) {
      stage.current?.setPart(mesh, true);
      stage.current?.setNeed(state.need.regions);
    }
  }, [mesh]);
  useLayoutEffect(() => stage.current?.setPieces(pieces), [pieces]);
  useLayoutEffect(() => stage.current?.setNeed(state.need.regions), [JSON.stringify(state.need.regions.map((r) => [r.id, r.area_mm2, r.z_mm]))]);
  useLayoutEffect(() => stage.current?.setBodies(state.proof.bodies), [state.proof.bodies]);
  useLayoutEffect(() => stage.current?.repaint(), [dark]);
  useLayoutEffect(() => {
    stage.current?.show({ glass: view.glass, exploded: view.exploded, cut: view.section ? view.z : null, selected: view.selected, stale: !state.ready.grow });
  });
  useLayoutEffect(() => {
    const s = stage.current;
    if (!s || !mesh) return;
    if (was.current !== view.turned) s.rig.look(view.name, view.towards);
    was.current = view.turned;
    s.fit();
  }, [view.turned, view.exploded]);

  const keys = (e: TargetedKeyboardEvent<HTMLDivElement>): void => {
    const s = stage.current;
    if (!s || e.shiftKey || e.ctrlKey || e.metaKey || e.altKey) return;
    const box = host.current!;
    const does: Record<string, () => void> = {
      ArrowLeft: () => s.rig.orbit(-step, 0),
      ArrowRight: () => s.rig.orbit(step, 0),
      ArrowUp: () => s.rig.orbit(0, -step),
      ArrowDown: () => s.rig.orbit(0, step),
      a: () => s.rig.pan(step, 0),
      d: () => s.rig.pan(-step, 0),
      w: () => s.rig.pan(0, step),
      s: () => s.rig.pan(0, -step),
      "+": () => s.rig.zoom(0.85),
      "=": () => s.rig.zoom(0.85),
      "-": () => s.rig.zoom(1 / 0.85),
      f: () => s.fit(),
      q: () => ask(box.clientWidth / 2, box.clientHeight / 2, true),
    };
    if (e.key === "Escape") from.current = null;
    const f = does[e.key];
    if (!f) return;
    e.preventDefault();
    f();
    s.invalidate();
  };
  const focus = (on: boolean): void => {
    latest.current.focused = on && (host.current?.matches(":focus-visible") ?? false);
    stage.current?.invalidate();
  };

  return (
    <div class="model">
      <div
        class="view"
        ref={host}
        tabIndex={0}
        role="application"
        aria-label="The model. Arrows turn it, Q asks about the spot in the cross-hairs, question mark shows all keys"
        onKeyDown={keys}
        onFocus={() => focus(true)}
        onBlur={() => focus(false)}
      >
        <canvas ref={canvas} />
        <svg class="marks" ref={marks} aria-hidden="true" />
      </div>
      {desk.spot && (
        <Note
          desk={desk}
          state={state}
          spot={desk.spot}
          change={change}
          style={narrow ? null : hang}
          focus={byKey.current}
          startLine={(p) => {
            from.current = p;
            desk.forget();
            desk.say(lineBegun);
          }}
        />
      )}
    </div>
  );
}

/** Where a note about a spot hangs: in the margin that is nearer to it. */
function hangAt(s: Stage, at: P3): { x: number; y: number } {
  const { width, height } = s.rig.size();
  const p = s.rig.project(s.min.clone().set(at[0], at[1], at[2]));
  const x = p.x >= width / 2 ? width - noteWide - 14 : 44;
  return { x: Math.max(8, x), y: Math.max(44, Math.min(height - 260, p.y - 60)) };
}
