// The particulars that the plan is drawn for: what the printer does, and the designer's taste.

import type { JSX } from "preact";
import type { Desk } from "../desk.ts";
import type { State } from "../types.ts";
import { Measure } from "./Schedule.tsx";

/** Settings in words, with their units, in the order that they are asked for in. */
const told: [string, string, string][] = [
  ["layer_mm", "layer", "mm"],
  ["first_layer_mm", "first layer", "mm"],
  ["nozzle_mm", "nozzle", "mm"],
  ["line_mm", "line", "mm"],
  ["limit_deg", "overhang limit, from the vertical", "°"],
  ["bridge_mm", "longest bridge", "mm"],
  ["gap_mm", "gap, 0 fuses", "mm"],
  ["wall_mm", "support wall", "mm"],
  ["clearance_mm", "clear of walls", "mm"],
  ["lean_deg", "furthest lean", "°"],
  ["margin", "bridge kept in hand", "×"],
  ["drag_n", "drag of the nozzle", "N"],
  ["adhesion_mpa", "adhesion to the plate", "MPa"],
  ["cell_mm", "cell of the proof", "mm"],
];

export function Settings({ desk, state }: { desk: Desk; state: State }): JSX.Element {
  const { settings, taste } = state.plan;
  const enter = (name: string, value: unknown): void => void desk.edit({ op: "settings", [name]: value });
  const direction = settings["direction"];
  return (
    <div class="settings">
      <h3>The printer</h3>
      <div class="fields">
        {told.map(([name, label, unit]) => {
          const v = settings[name];
          if (typeof v !== "number") return null;
          return <Measure key={name} label={label} value={v} unit={unit} enter={(x) => enter(name, x)} />;
        })}
      </div>
      <div class="fields">
        <label class="measure wide">
          <span>bridges over supports are laid</span>
          <select value={typeof direction === "number" ? "one" : "any"} onChange={(e) => enter("direction", e.currentTarget.value === "any" ? "any" : 0)}>
            <option value="any">in any direction</option>
            <option value="one">in one direction</option>
          </select>
        </label>
        {typeof direction === "number" && <Measure label="from +X" value={direction} unit="°" enter={(x) => enter("direction", x)} />}
      </div>
      <h3>Taste</h3>
      <div class="fields">
        <Measure label="top layers of walls, 0 as the wall" value={taste.pad_mm ?? 0} enter={(x) => enter("pad_mm", x)} />
        <Measure label="a gram of plastic is worth" value={taste.weights?.plastic_g ?? 0} unit="s" enter={(x) => enter("weights", { ...taste.weights, plastic_g: x })} />
        <Measure label="a mm² of contact is worth" value={taste.weights?.contact_mm2 ?? 0} unit="s" enter={(x) => enter("weights", { ...taste.weights, contact_mm2: x })} />
        <label class="measure wide">
          <span>must also print at layers of</span>
          <input
            type="text"
            key={String(taste.layer_heights_mm)}
            defaultValue={(taste.layer_heights_mm ?? []).join(", ")}
            placeholder="none"
            onKeyDown={(e) => e.stopPropagation()}
            onChange={(e) => {
              const list = e.currentTarget.value.split(/[,;\s]+/).filter(Boolean).map(Number);
              if (list.every(Number.isFinite)) enter("layer_heights_mm", list);
            }}
          />
          <i>mm</i>
        </label>
      </div>
      <p class="quiet">A change of the printer has the part cut and its need found anew.</p>
    </div>
  );
}
