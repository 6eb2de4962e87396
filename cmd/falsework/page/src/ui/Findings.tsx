// The findings: what the proof holds against the work, what it notes, and what of the bare
// part would fall and how a change of the part would do away with that.

import type { JSX } from "preact";
import type { Desk } from "../desk.ts";
import { mm, place } from "../format.ts";
import type { Reason, State } from "../types.ts";
import type { Change, View } from "./view.ts";

/** What is read at a glance; the rest is counted. */
const most = 60;

export function Findings({ desk, state, view, change }: { desk: Desk; state: State; view: View; change: Change }): JSX.Element {
  const { proof, need, ready } = state;
  const go = (i: number, r: Reason): void => {
    change({ finding: i, selected: r.id ?? "", z: r.at_mm[2], drawer: false });
    void desk.ask(r.at_mm, [0, 0, -1]);
  };
  return (
    <div class="findings">
      <h3>What fails {!ready.proof && <small class="stamp">being redone</small>}</h3>
      {proof.reasons.length === 0 && <p class="quiet">{ready.proof ? "Nothing." : "Not known yet."}</p>}
      <ol class={ready.proof ? "" : "stale"}>
        {proof.reasons.slice(0, most).map((r, i) => (
          <li key={i}>
            <button type="button" class={`finding${view.finding === i ? " chosen" : ""}`} onClick={() => go(i, r)}>
              <b>△{i + 1}</b> {r.text}
              {r.remedy && <em>{r.remedy}</em>}
              {r.id && <span class="where">at {r.id}</span>}
            </button>
          </li>
        ))}
      </ol>
      {proof.reasons.length > most && <p class="quiet">and {proof.reasons.length - most} more</p>}
      {proof.notes.length > 0 && (
        <>
          <h3>Notes, which fail nothing</h3>
          <ul class={ready.proof ? "" : "stale"}>
            {proof.notes.slice(0, most).map((r, i) => (
              <li key={i}>
                {r.text} <span class="where">at {place(r.at_mm)}</span>
              </li>
            ))}
          </ul>
        </>
      )}
      <h3>
        Need of the bare part <small>{mm(need.area_mm2, 0)} mm²</small> {!ready.need && <small class="stamp">being redone</small>}
      </h3>
      {need.regions.length === 0 && <p class="quiet">{ready.need ? "Nothing of it would fall." : "Not known yet."}</p>}
      <ol class={ready.need ? "" : "stale"}>
        {need.regions.slice(0, most).map((r) => (
          <li key={r.id}>
            <button
              type="button"
              class="finding"
              onClick={() => {
                change({ z: r.z_mm[0], drawer: false });
                void desk.ask(r.center_mm, [0, 0, -1]);
              }}
            >
              <b class="of-need">▨{r.id}</b> {r.kind}, {mm(r.area_mm2, 1)} mm² from z {mm(r.z_mm[0])}
            </button>
            {r.remedies.length > 0 && (
              <details>
                <summary>do without</summary>
                {r.remedies.map((m) => (
                  <p key={m.name}>{m.text}</p>
                ))}
              </details>
            )}
          </li>
        ))}
      </ol>
    </div>
  );
}
