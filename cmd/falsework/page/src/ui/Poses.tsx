// Which way up: the ranked poses as a table.

import type { JSX } from "preact";
import type { Desk } from "../desk.ts";
import { grams, mm, time } from "../format.ts";
import type { Pose, State } from "../types.ts";

export function Poses({ desk, state }: { desk: Desk; state: State }): JSX.Element {
  const { poses } = desk;
  if (poses === null || poses === "ranking") {
    return (
      <div class="poses">
        <p>Half of all supports vanish by turning the part. Ranking lays out, proves and times the best twenty poses.</p>
        <button type="button" class="word" disabled={poses === "ranking"} onClick={() => void desk.rank()}>
          {poses === "ranking" ? "Ranking …" : "Rank the poses"}
        </button>
      </div>
    );
  }
  const now = JSON.stringify(state.turn_deg ?? desk.part?.pose.turn_deg);
  return (
    <div class="poses">
      <p>Taking a pose turns the part; what stood in the old pose goes, and undo brings it back.</p>
      <table>
        <thead>
          <tr>
            <th scope="col">turned by</th>
            <th scope="col">supports</th>
            <th scope="col">need</th>
            <th scope="col">high</th>
            <th scope="col" />
          </tr>
        </thead>
        <tbody>
          {poses.map((p) => (
            <tr key={p.number} title={gains(p)}>
              <th scope="row">
                {p.turn_deg.map((d) => mm(d, 0)).join(" ")}°<br />
                <small>
                  {p.kind}
                  {p.front ? " · front" : ""}
                </small>
              </th>
              <td>
                {time(p.time_s)}
                <br />
                <small>
                  {grams(p.mass_g)} {p.holds ? "" : "✗ fails"}
                </small>
              </td>
              <td>{mm(p.need_mm2, 0)} mm²</td>
              <td>{mm(p.height_mm, 0)} mm</td>
              <td>
                {JSON.stringify(p.turn_deg) === now ? (
                  <small>as it is</small>
                ) : (
                  <button type="button" class="word" aria-label={`Take pose ${p.number}`} onClick={() => void desk.pose(p.turn_deg)}>
                    Take
                  </button>
                )}
              </td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

function gains(p: Pose): string {
  const list = (l: Pose["wins"]): string => (l ?? []).map((g) => g.criterion).join(", ");
  return `wins ${list(p.wins) || "nothing"}; loses ${list(p.loses) || "nothing"}`;
}
