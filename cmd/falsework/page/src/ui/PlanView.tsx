// The layer at z from above, as a plan: the part hatched, supports in solid ink, what is
// bare hatched both ways, what bridges ruled in the directions that it is laid in.

import type { JSX } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import type { Desk } from "../desk.ts";
import { mm, pathOf, round } from "../format.ts";
import type { P2, P3, State } from "../types.ts";
import { fromTrackpad } from "../view/input.ts";
import { lineBegun, Note } from "./Note.tsx";
import type { Change, View } from "./view.ts";

interface Props {
  desk: Desk;
  state: State;
  view: View;
  change: Change;
}

interface Frame {
  x: number; // of the middle, mm
  y: number;
  scale: number; // pixels to a mm
}

export function PlanView({ desk, state, view, change }: Props): JSX.Element {
  const host = useRef<SVGSVGElement>(null);
  const [size, setSize] = useState({ w: 600, h: 400 });
  const [frame, setFrame] = useState<Frame | null>(null);
  const [drag, setDrag] = useState<{ id: string; from: P2; by: P2 } | null>(null);
  const held = useRef<{ x: number; y: number; moved: boolean; id: string } | null>(null);
  const start = useRef<P3 | null>(null); // of a line that waits for its other end
  const layer = desk.layer;
  const part = desk.part;

  useEffect(() => {
    const el = host.current!;
    const watch = new ResizeObserver(() => setSize({ w: el.clientWidth, h: el.clientHeight }));
    watch.observe(el);
    return () => watch.disconnect();
  }, []);
  useEffect(() => {
    desk.wantLayer(view.z);
  }, [view.z]);
  useEffect(() => () => desk.wantLayer(null), []);
  useEffect(() => {
    const el = host.current!;
    const wheel = (e: WheelEvent): void => {
      e.preventDefault();
      const box = el.getBoundingClientRect();
      const factor = e.ctrlKey || !fromTrackpad(e) ? Math.exp(-Math.sign(e.deltaY) * 0.15) : 1;
      setFrame((was) => {
        const f = was ?? fit();
        if (factor === 1) return { ...f, x: f.x + e.deltaX / f.scale, y: f.y - e.deltaY / f.scale };
        const next = Math.min(400, Math.max(0.2, f.scale * factor));
        const dx = e.clientX - box.left - box.width / 2;
        const dy = e.clientY - box.top - box.height / 2;
        return { x: f.x + dx / f.scale - dx / next, y: f.y - dy / f.scale + dy / next, scale: next };
      });
    };
    el.addEventListener("wheel", wheel, { passive: false });
    return () => el.removeEventListener("wheel", wheel);
  }, [size, part]);

  const fit = (): Frame => {
    if (!part) return { x: 0, y: 0, scale: 5 };
    const w = part.max[0] - part.min[0];
    const h = part.max[1] - part.min[1];
    const margin = Math.min(80, size.w / 7);
    return { x: (part.min[0] + part.max[0]) / 2, y: (part.min[1] + part.max[1]) / 2, scale: Math.max(0.2, Math.min((size.w - 2 * margin) / w, (size.h - 2 * margin) / h)) };
  };
  const f = frame ?? fit();
  const sx = (x: number): number => size.w / 2 + (x - f.x) * f.scale;
  const sy = (y: number): number => size.h / 2 - (y - f.y) * f.scale;
  const toPlan = (px: number, py: number): P2 => [f.x + (px - size.w / 2) / f.scale, f.y - (py - size.h / 2) / f.scale];
  const local = (e: MouseEvent): { x: number; y: number } => {
    const box = host.current!.getBoundingClientRect();
    return { x: e.clientX - box.left, y: e.clientY - box.top };
  };
  const post = (p: P2): string => {
    const near = state.plan.posts.find((q) => Math.max(Math.abs(q.at[0] - p[0]), Math.abs(q.at[1] - p[1])) <= Math.max((q.side ?? 1.5) / 2, 7 / f.scale));
    return near?.id ?? "";
  };

  const down = (e: PointerEvent): void => {
    host.current!.setPointerCapture(e.pointerId);
    const p = local(e);
    held.current = { ...p, moved: false, id: e.button === 0 ? post(toPlan(p.x, p.y)) : "" };
  };
  const move = (e: PointerEvent): void => {
    const h = held.current;
    if (!h) return;
    const p = local(e);
    if (!h.moved && Math.hypot(p.x - h.x, p.y - h.y) < 4) return;
    if (h.id) {
      const from = drag?.from ?? toPlan(h.x, h.y);
      const to = toPlan(p.x, p.y);
      setDrag({ id: h.id, from, by: [Math.round((to[0] - from[0]) * 2) / 2, Math.round((to[1] - from[1]) * 2) / 2] });
      held.current = { ...h, moved: true };
      return;
    }
    setFrame({ ...f, x: f.x - (p.x - h.x) / f.scale, y: f.y + (p.y - h.y) / f.scale });
    held.current = { ...p, moved: true, id: "" };
  };
  const up = (e: PointerEvent): void => {
    const h = held.current;
    held.current = null;
    if (!h) return;
    if (drag) {
      setDrag(null);
      if (drag.by[0] !== 0 || drag.by[1] !== 0) void desk.edit({ op: "move", id: drag.id, by: drag.by.map(round) as P2 });
      return;
    }
    if (h.moved) return;
    const p = local(e);
    const at = toPlan(p.x, p.y);
    if (h.id) {
      change({ selected: h.id, tab: "schedule" });
      return;
    }
    const z = layer?.z ?? view.z;
    const from = start.current;
    if (from) {
      start.current = null;
      desk.say("");
      void desk.edit({ op: "add-line", at: [from, [round(at[0]), round(at[1]), from[2]]] });
    } else void desk.ask([at[0], at[1], z], [0, 0, -1]);
  };

  // Hatching keeps its pitch on the sheet whatever the scale.
  const pitch = 7 / f.scale;
  const direction = state.plan.settings["direction"];
  const lit = new Set(desk.spot?.answer?.by ?? []);
  const matrix = `matrix(${f.scale} 0 0 ${-f.scale} ${sx(0)} ${sy(0)})`;
  const stale = !state.ready.grow;

  return (
    <div class="model plan">
      <svg
        class="layer"
        ref={host}
        role="img"
        aria-label={layer ? `Layer ${layer.index + 1} at ${mm(layer.z)} mm from above` : "Layer from above"}
        onPointerDown={down}
        onPointerMove={move}
        onPointerUp={up}
        onContextMenu={(e) => e.preventDefault()}
      >
        <defs>
          <Hatch id="hatch-part" name="part" pitch={pitch} turn={45} />
          <Hatch id="hatch-bare" name="bare" pitch={pitch * 0.85} turn={45} crossed />
          <Hatch id="hatch-bridge" name="bridge" pitch={pitch * 1.2} turn={typeof direction === "number" ? direction : 0} crossed={typeof direction !== "number"} />
          <Hatch id="hatch-stale" name="stale" pitch={pitch} turn={-45} />
        </defs>
        {layer && (
          <g transform={matrix}>
            <path class="below" d={pathOf(layer.below)} />
            <path class="part" d={pathOf(layer.part)} fill="url(#hatch-part)" />
            <path class="held" d={pathOf(layer.held)} />
            <path class="bridges" d={pathOf(layer.bridges)} fill="url(#hatch-bridge)" />
            <path class="bare" d={pathOf(layer.bare)} fill="url(#hatch-bare)" />
            {layer.supports.map((s) => (
              <path
                key={s.id}
                class={`support${s.id === view.selected ? " chosen" : ""}${lit.has(s.id) ? " lit" : ""}${stale ? " stale" : ""}`}
                d={pathOf(s.polygons)}
                onClick={() => s.id && change({ selected: s.id, tab: "schedule" })}
              />
            ))}
            {state.plan.posts.map((q) => {
              const by = drag?.id === q.id ? drag.by : [0, 0];
              const half = (q.side ?? 0.8) / 2;
              return <rect key={q.id} class={`post${q.id === view.selected ? " chosen" : ""}${q.by === "tool" ? "" : " yours"}`} x={q.at[0] - half + by[0]!} y={q.at[1] - half + by[1]!} width={2 * half} height={2 * half} />;
            })}
          </g>
        )}
        {state.plan.posts
          .filter((q) => q.side || q.id === view.selected)
          .map((q) => {
            const by = drag?.id === q.id ? drag.by : [0, 0];
            return (
              <text key={q.id} class="tag" x={sx(q.at[0] + by[0]! + (q.side ?? 1) / 2) + 5} y={sy(q.at[1] + by[1]! + (q.side ?? 1) / 2) - 5}>
                {q.id}
                {drag?.id === q.id ? ` Δ ${mm(drag.by[0], 1)}, ${mm(drag.by[1], 1)}` : ""}
              </text>
            );
          })}
        {desk.spot && <circle class="spot" cx={sx(desk.spot.at[0])} cy={sy(desk.spot.at[1])} r={5} />}
        <g class="north">
          <path d={`M44 ${size.h - 44}h28M44 ${size.h - 44}v-28`} />
          <text x={78} y={size.h - 40}>
            x
          </text>
          <text x={40} y={size.h - 78}>
            y
          </text>
        </g>
      </svg>
      <figcaption class="plan-title">
        <b>Plan at z {layer ? mm(layer.z) : "…"}</b>
        <span>{layer ? `layer ${layer.index + 1}, ${mm(layer.height_mm)} mm thick` : "cutting"}</span>
        <ul class="key">
          <Swatch of="hatch-part" name="part" />
          <Swatch of="" name="support" kind="support" />
          <Swatch of="" name="rests on supports" kind="held" />
          <Swatch of="hatch-bridge" name="bridge" />
          <Swatch of="hatch-bare" name="bare" />
          <Swatch of="" name="layer below" kind="below" />
        </ul>
      </figcaption>
      {desk.spot && (
        <Note
          desk={desk}
          state={state}
          spot={desk.spot}
          change={change}
          style={null}
          focus={false}
          startLine={(p) => {
            start.current = p;
            desk.forget();
            desk.say(lineBegun);
          }}
        />
      )}
    </div>
  );
}

function Hatch({ id, name, pitch, turn, crossed }: { id: string; name: string; pitch: number; turn: number; crossed?: boolean }): JSX.Element {
  return (
    <pattern id={id} class={`hatch rules-${name}`} width={pitch} height={pitch} patternUnits="userSpaceOnUse" patternTransform={`rotate(${turn})`}>
      <rect width={pitch} height={pitch} class="ground" />
      <path d={`M0 ${pitch / 2}H${pitch}${crossed ? `M${pitch / 2} 0V${pitch}` : ""}`} stroke-width={pitch * 0.14} />
    </pattern>
  );
}

/** A patch of the key, hatched by the style sheet. */
function Swatch({ of, name, kind }: { of: string; name: string; kind?: string }): JSX.Element {
  return (
    <li>
      <i class={`swatch ${kind ?? of}`} />
      {name}
    </li>
  );
}
