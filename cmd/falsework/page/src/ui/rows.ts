// The schedule of what the plan has, in the order that it is read in.

import { mm, place } from "../format.ts";
import type { Plan, State } from "../types.ts";

export type RowKind = "post" | "sole" | "line" | "tie" | "sheet" | "steps" | "zone";

export interface Row {
  id: string;
  kind: RowKind;
  what: string; // in words
  where: string;
  yours: boolean;
  findings: number; // that are about it
}

/** Lists structures and zones. */
export function rowsOf(s: Pick<State, "plan" | "proof">): Row[] {
  const found = (id: string): number => s.proof.reasons.filter((r) => r.id === id).length;
  const p: Plan = s.plan;
  const rows: Row[] = [];
  const add = (id: string, kind: RowKind, what: string, where: string, yours: boolean): void => {
    rows.push({ id, kind, what, where, yours, findings: found(id) });
  };
  for (const q of p.posts) add(q.id, q.side ? "post" : "sole", q.side ? `post ${mm(q.side)} □` : q.under ? `sole under ${q.under}` : "sole", place(q.at), q.by !== "tool");
  for (const l of p.lines) {
    const length = l.at.slice(1).reduce((sum, v, i) => sum + Math.hypot(v[0] - l.at[i]![0], v[1] - l.at[i]![1]), 0);
    add(l.id, l.tie ? "tie" : "line", `${l.tie ? "tie" : "contact"} ${mm(length, 1)} long`, `z ${mm(l.at[0]?.[2] ?? 0)}`, l.by !== "tool");
  }
  for (const c of p.sheets ?? []) add(c.id, "sheet", "sheet across a hole", place(c.at), c.by !== "tool");
  for (const c of p.steps ?? []) add(c.id, "steps", "steps under a hole", place(c.at), c.by !== "tool");
  for (const z of p.zones) {
    const name = { "keep-clean": "keep clean", "must-hold": "must hold", "no-go": "no go" }[z.kind];
    add(z.id, "zone", `${name}: ${z.face ? "face" : z.box ? "box" : "cylinder"}`, place(z.face?.at ?? z.box?.min ?? z.cylinder?.from ?? []), true);
  }
  return rows;
}

/** What stands beside a row: whose it is, by shape as well as by word. */
export function ownerSign(r: Row): string {
  return r.kind === "zone" ? "▽" : r.yours ? "◆" : "◇";
}
