// The title block, lower right as on any drawing: what, how large, the verdict, the cost.

import type { JSX } from "preact";
import type { Desk } from "../desk.ts";
import { grams, mm, size, time } from "../format.ts";
import type { State } from "../types.ts";

/** The verdict in words, for the eye and for the ear. */
export function verdictOf(s: State): { word: string; tell: string } {
  const { verdict, reasons } = s.proof;
  const n = reasons.length;
  if (!s.ready.proof) return { word: "being redone", tell: "The proof is being redone." };
  if (verdict === "holds") return { word: "holds", tell: "The proof holds." };
  if (verdict === "fails") return { word: "fails", tell: `The proof fails in ${n} ${n === 1 ? "place" : "places"}.${reasons[0] ? ` First: ${reasons[0].text}` : ""}` };
  return { word: "unknown", tell: "The proof is not known." };
}

export function TitleBlock({ desk, state }: { desk: Desk; state: State }): JSX.Element {
  const { word, tell } = verdictOf(state);
  const { cost, ready } = state;
  const part = desk.part;
  const n = state.proof.reasons.length;
  return (
    <section class="title" aria-label="Title block">
      <div class="cell name">
        <small>part</small>
        <b>{state.part_name}</b>
        <span>{part ? `${size(part.size_mm)} mm` : ""}</span>
      </div>
      <div class={`cell verdict ${word.replace(" ", "-")}`}>
        <small>verdict</small>
        <b data-verdict={state.ready.proof ? state.proof.verdict : "unknown"}>{word === "fails" ? `fails · ${n}` : word}</b>
        <span>{`layers of ${mm(Number(state.plan.settings["layer_mm"] ?? 0))} mm`}</span>
        <span class="sr" role="status" aria-live="polite">
          {tell}
        </span>
      </div>
      <div class={`cell cost${ready.cost ? "" : " stale"}`}>
        <small>supports · dense</small>
        {cost ? (
          <>
            <b>
              {time(cost.time_s)} · {time(cost.dense_time_s)}
            </b>
            <span>
              {grams(cost.mass_g)} · {grams(cost.dense_mass_g)}
              {cost.ratio_time !== null && cost.time_s >= 0.5 ? ` · time × ${mm(cost.ratio_time)}` : ""}
            </span>
          </>
        ) : (
          <b>–</b>
        )}
      </div>
      <div class="cell revision">
        <small>revision</small>
        <b>{state.revision}</b>
        <span>{state.saved_revision === state.revision ? "saved" : "not saved"}</span>
      </div>
    </section>
  );
}
