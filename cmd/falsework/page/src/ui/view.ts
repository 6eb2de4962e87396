// How the designer looks at the work: kept apart from the work itself.

import type { ViewName } from "../view/rig.ts";

export type Tab = "schedule" | "findings" | "particulars" | "poses";

export interface View {
  name: ViewName;
  towards: number | null; // azimuth of the three-quarter views in radians; null before it is known
  turned: number; // counts what asks for the named view anew
  plan: boolean; // the layer from above instead of the model
  glass: boolean;
  exploded: boolean;
  section: boolean;
  z: number; // of the section and of the layer, mm
  selected: string; // id of a structure or zone, "" for none
  finding: number; // of the reasons, -1 for none
  tab: Tab;
  drawer: boolean; // the notes are out, on a narrow sheet
  help: boolean;
}

export const firstView: View = {
  name: "three-quarter",
  towards: null,
  turned: 0,
  plan: false,
  glass: false,
  exploded: false,
  section: false,
  z: 0,
  selected: "",
  finding: -1,
  tab: "schedule",
  drawer: false,
  help: false,
};

export type Change = (part: Partial<View>) => void;
