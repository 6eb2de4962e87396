// Numbers as a drawing has them.

import type { P2, P3, Polygon } from "./types.ts";

/** A length or coordinate with no more places than it needs. */
export function mm(v: number, places = 2): string {
  const text = v.toFixed(places).replace(/(\.\d*?)0+$/, "$1").replace(/\.$/, "");
  return text === "-0" ? "0" : text.replace("-", "−");
}

export function size(v: P3): string {
  return v.map((x) => mm(x, 1)).join(" × ");
}

export function place(v: readonly number[]): string {
  return v.map((x) => mm(x, 1)).join(", ");
}

/** A time as people say it. */
export function time(seconds: number): string {
  if (seconds < 0.5) return "none";
  if (seconds < 90) return `${Math.round(seconds)} s`;
  const minutes = Math.round(seconds / 60);
  if (minutes < 120) return `${minutes} min`;
  const rest = minutes % 60;
  return `${Math.floor(minutes / 60)} h${rest ? ` ${rest} min` : ""}`;
}

export function grams(g: number): string {
  return `${g.toFixed(g < 10 ? 2 : 1)} g`;
}

/** Lines of an SVG path through polygons with their holes, to be filled even-odd. */
export function pathOf(polygons: readonly Polygon[]): string {
  const ring = (r: readonly P2[]): string => (r.length < 3 ? "" : `M${r.map(([x, y]) => `${+x.toFixed(3)} ${+y.toFixed(3)}`).join("L")}Z`);
  return polygons.map((p) => ring(p.outer) + (p.holes ?? []).map(ring).join("")).join("");
}

/** The contact line set at a spot: as long as a bridge allows and centred there, along X. */
export function lineAt(at: P3, length: number): P3[] {
  const half = length / 2;
  return [
    [round(at[0] - half), round(at[1]), round(at[2])],
    [round(at[0] + half), round(at[1]), round(at[2])],
  ];
}

/** Coordinates as the plan keeps them: a thousandth is finer than anything printed. */
export function round(v: number): number {
  return Math.round(v * 1000) / 1000;
}

export function escape(text: string): string {
  return text.replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;").replaceAll('"', "&quot;");
}
