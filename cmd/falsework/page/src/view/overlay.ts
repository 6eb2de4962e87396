// What is lettered over the model: dimensions, the trace of a section, clouds round what
// fails, signs on faces with a wish, and leaders to notes.

import { Vector3 } from "three";
import { escape, mm } from "../format.ts";
import type { P2, P3, Reason, Zone } from "../types.ts";
import type { Rig } from "./rig.ts";

interface Point {
  x: number;
  y: number;
}

/** What is to be lettered. */
export interface Marks {
  min: Vector3;
  max: Vector3;
  cut: number | null;
  reasons: Reason[];
  chosen: number; // of reasons, -1 for none
  stale: boolean; // the reasons are of an earlier plan
  zones: Zone[];
  spot: P3 | null;
  note: Point | null; // where the note about the spot hangs
  label: { text: string; at: P3 } | null;
  ghost: { corners: P3[]; from: P3; to: P3 } | null;
  reticle: boolean;
}

/** Clouds beyond this many would hide the part; the list of findings has all. */
const mostClouds = 24;

/** Draws the marks as the contents of an SVG element. */
export function lettered(rig: Rig, m: Marks): string {
  const at = (p: readonly number[]): Point => rig.project(new Vector3(p[0], p[1], p[2]));
  const parts = [dimensions(m, at), axes(rig)];
  if (m.cut !== null) parts.push(section(m, at, m.cut));
  for (const z of m.zones) parts.push(zoneSign(z, at));
  m.reasons.slice(0, mostClouds).forEach((r, i) => parts.push(cloud(at(r.at_mm), i, i === m.chosen, m.stale)));
  if (m.label) {
    const p = at(m.label.at);
    parts.push(`<g class="flag"><path d="M${f(p.x)} ${f(p.y)}l14 -18h${m.label.text.length * 8 + 8}"/>${text(p.x + 18, p.y - 22, m.label.text)}</g>`);
  }
  if (m.spot) {
    const p = at(m.spot);
    if (m.note) parts.push(`<path class="leader" d="M${f(p.x)} ${f(p.y)}L${f(m.note.x)} ${f(m.note.y)}"/>`);
    parts.push(`<circle class="spot" cx="${f(p.x)}" cy="${f(p.y)}" r="4"/><path class="spot" d="M${f(p.x - 9)} ${f(p.y)}h18M${f(p.x)} ${f(p.y - 9)}v18"/>`);
  }
  if (m.ghost) parts.push(ghost(m.ghost, at));
  if (m.reticle) {
    const { width, height } = rig.size();
    parts.push(`<path class="reticle" d="M${width / 2 - 14} ${height / 2}h10m8 0h10M${width / 2} ${height / 2 - 14}v10m0 8v10"/>`);
  }
  return parts.join("");
}

function f(v: number): string {
  return v.toFixed(1);
}

function text(x: number, y: number, t: string, turn = 0): string {
  return `<text x="${f(x)}" y="${f(y)}"${turn ? ` transform="rotate(${f(turn)} ${f(x)} ${f(y)})"` : ""}>${escape(t)}</text>`;
}

/** A dimension between two places of the sheet, drawn off them towards out. */
export function dimension(a: Point, b: Point, out: Point, value: string, reach = 24): string {
  const from = { x: a.x + out.x * reach, y: a.y + out.y * reach };
  const to = { x: b.x + out.x * reach, y: b.y + out.y * reach };
  const len = Math.hypot(to.x - from.x, to.y - from.y);
  if (len < 26) return "";
  const ext = (p: Point): string => `M${f(p.x + out.x * 5)} ${f(p.y + out.y * 5)}L${f(p.x + out.x * (reach + 6))} ${f(p.y + out.y * (reach + 6))}`;
  const ux = ((to.x - from.x) / len) * 4;
  const uy = ((to.y - from.y) / len) * 4;
  // Oblique strokes end the line, at 45° to it.
  const tick = (p: Point): string => `M${f(p.x - ux + uy)} ${f(p.y - uy - ux)}L${f(p.x + ux - uy)} ${f(p.y + uy + ux)}`;
  let turn = (Math.atan2(to.y - from.y, to.x - from.x) * 180) / Math.PI;
  if (turn > 89.5) turn -= 180;
  if (turn < -90.5) turn += 180;
  // Figures stand on the line as it is read.
  const r = (turn * Math.PI) / 180;
  const x = (from.x + to.x) / 2 + Math.sin(r) * 5;
  const y = (from.y + to.y) / 2 - Math.cos(r) * 5;
  return `<g class="dimension"><path d="${ext(a)}${ext(b)}M${f(from.x)} ${f(from.y)}L${f(to.x)} ${f(to.y)}"/><path class="tick" d="${tick(from)}${tick(to)}"/>${text(x, y, value, turn)}</g>`;
}

function dimensions(m: Marks, at: (p: readonly number[]) => Point): string {
  const lo = m.min.toArray();
  const hi = m.max.toArray();
  const middle = at(lo.map((v, i) => (v + (hi[i] ?? 0)) / 2));
  let out = "";
  for (let axis = 0; axis < 3; axis++) {
    let best: { a: Point; b: Point; out: Point; score: number } | null = null;
    for (let corner = 0; corner < 4; corner++) {
      const p = [0, 0, 0];
      const others = [0, 1, 2].filter((i) => i !== axis);
      p[others[0]!] = corner & 1 ? hi[others[0]!]! : lo[others[0]!]!;
      p[others[1]!] = corner & 2 ? hi[others[1]!]! : lo[others[1]!]!;
      const q = [...p];
      p[axis] = lo[axis]!;
      q[axis] = hi[axis]!;
      const a = at(p);
      const b = at(q);
      const len = Math.hypot(b.x - a.x, b.y - a.y);
      if (len < 26) continue;
      const away = { x: (a.x + b.x) / 2 - middle.x, y: (a.y + b.y) / 2 - middle.y };
      let n = { x: -(b.y - a.y) / len, y: (b.x - a.x) / len };
      if (n.x * away.x + n.y * away.y < 0) n = { x: -n.x, y: -n.y };
      // Outermost first; of equals the lower one, and for heights the left one.
      const score = n.x * away.x + n.y * away.y + (axis === 2 ? -0.5 * away.x : 0.5 * away.y);
      if (!best || score > best.score + 1e-6) best = { a, b, out: n, score };
    }
    if (best) out += dimension(best.a, best.b, best.out, mm(hi[axis]! - lo[axis]!, 2));
  }
  return out;
}

/** The three directions, lower left. */
function axes(rig: Rig): string {
  const { height } = rig.size();
  const o = rig.project(rig.stance.target);
  let out = "";
  ["x", "y", "z"].forEach((name, i) => {
    const p = rig.stance.target.clone();
    p.setComponent(i, p.getComponent(i) + 26 * rig.stance.scale);
    const q = rig.project(p);
    const dx = q.x - o.x;
    const dy = q.y - o.y;
    if (Math.hypot(dx, dy) < 5) return;
    const x = 44;
    const y = height - 44;
    out += `<path d="M${x} ${y}l${f(dx)} ${f(dy)}"/>${text(x + dx * 1.35, y + dy * 1.35 + 4, name)}`;
  });
  return `<g class="axes">${out}</g>`;
}

/** The trace of a section: a chain line round the part with lettered arrows. */
function section(m: Marks, at: (p: readonly number[]) => Point, z: number): string {
  const off = 0.06 * m.max.distanceTo(m.min);
  const ring: P2[] = [
    [m.min.x - off, m.min.y - off],
    [m.max.x + off, m.min.y - off],
    [m.max.x + off, m.max.y + off],
    [m.min.x - off, m.max.y + off],
  ];
  const p = ring.map(([x, y]) => at([x, y, z]));
  const left = p.reduce((a, b) => (b.x < a.x ? b : a));
  const right = p.reduce((a, b) => (b.x > a.x ? b : a));
  const arrow = (q: Point): string => `<path class="arrow" d="M${f(q.x - 5)} ${f(q.y)}h10l-5 11z"/>${text(q.x, q.y - 6, "A")}`;
  return `<g class="section"><path d="M${p.map((q) => `${f(q.x)} ${f(q.y)}`).join("L")}Z"/>${arrow(left)}${arrow(right)}</g>`;
}

/** A revision cloud, as a checker draws round what has to be done again. */
function cloud(p: Point, i: number, chosen: boolean, stale: boolean): string {
  const r = chosen ? 20 : 13;
  const bumps = 8;
  let d = "";
  for (let k = 0; k <= bumps; k++) {
    const a = (k / bumps) * 2 * Math.PI;
    const x = f(p.x + r * Math.cos(a));
    const y = f(p.y + r * Math.sin(a));
    d += k === 0 ? `M${x} ${y}` : `A${f(r * 0.42)} ${f(r * 0.42)} 0 0 1 ${x} ${y}`;
  }
  const tx = p.x + r + 12;
  const ty = p.y - r;
  return `<g class="cloud${chosen ? " chosen" : ""}${stale ? " stale" : ""}" data-reason="${i}"><path d="${d}"/><path class="delta" d="M${f(tx)} ${f(ty - 12)}l11 19h-22z"/>${text(tx, ty + 4, String(i + 1))}</g>`;
}

/** The sign of a face with a wish: a surface mark for clean, a datum for must hold, a bar for no go. */
function zoneSign(z: Zone, at: (p: readonly number[]) => Point): string {
  const spot = z.face?.at ?? (z.box ? z.box.min.map((v, i) => (v + z.box!.max[i]!) / 2) : z.cylinder ? z.cylinder.from.map((v, i) => (v + z.cylinder!.to[i]!) / 2) : null);
  if (!spot) return "";
  const p = at(spot);
  const x = f(p.x);
  const y = f(p.y);
  const shape = { "keep-clean": `M${x} ${y}l-7 -12h14zl14 -24h26`, "must-hold": `M${x} ${y}l-7 -12h14zv-24h26`, "no-go": `M${x} ${y}l-8 -8m8 8l8 -8m-8 8l-8 8m8 -8l8 8m-8 -8v-30h26` }[z.kind];
  const name = { "keep-clean": "clean", "must-hold": "hold", "no-go": "no go" }[z.kind];
  return `<g class="zone ${z.kind}" data-zone="${escape(z.id)}"><path d="${shape}"/>${text(p.x + 16, p.y - 28, `${z.id} ${name}`)}</g>`;
}

function ghost(g: NonNullable<Marks["ghost"]>, at: (p: readonly number[]) => Point): string {
  const ring = g.corners.map(at);
  const a = at(g.from);
  const corner = at([g.to[0], g.from[1], g.from[2]]);
  const b = at(g.to);
  const leg = (p: Point, q: Point, v: number): string => (Math.abs(v) < 0.05 ? "" : `<path d="M${f(p.x)} ${f(p.y)}L${f(q.x)} ${f(q.y)}"/>${text((p.x + q.x) / 2 + 6, (p.y + q.y) / 2 - 6, mm(v, 1))}`);
  return `<g class="ghost"><path class="outline" d="M${ring.map((q) => `${f(q.x)} ${f(q.y)}`).join("L")}Z"/>${leg(a, corner, g.to[0] - g.from[0])}${leg(corner, b, g.to[1] - g.from[1])}</g>`;
}
