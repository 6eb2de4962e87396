// What the server and the page say to each other. Lengths are mm, angles degrees, +Z is
// up and the plate lies at z = 0. The names of the plan's fields are those of its document.

export type P2 = [number, number];
export type P3 = [number, number, number];

/** A closed outline with holes. */
export interface Polygon {
  outer: P2[];
  holes?: P2[][] | null;
}

export interface Part {
  name: string;
  triangles: number;
  sent_triangles: number;
  bytes: number;
  size_mm: P3;
  min: P3;
  max: P3;
  pose: { turn_deg: P3 };
}

export type Author = "tool" | "designer";

export interface Line {
  id: string;
  at: P3[];
  posts?: string[];
  tie?: boolean;
  round?: number;
  by?: Author;
}

/** A hollow post has a side; one without is a sole, a stretch of wall on the ground. */
export interface Post {
  id: string;
  at: P2;
  side?: number;
  reach?: number;
  toe?: number;
  under?: string;
  head?: number;
  foot?: number;
  by?: Author;
}

/** A sheet or steps under a hole: place and height say which hole. */
export interface Cover {
  id: string;
  at: P3;
  by?: Author;
}

export type ZoneKind = "keep-clean" | "must-hold" | "no-go";

export interface Zone {
  id: string;
  kind: ZoneKind;
  box?: { min: P3; max: P3 };
  cylinder?: { from: P3; to: P3; radius: number };
  face?: { at: P3; normal: P3 };
}

export interface Past {
  lines?: Line[];
  posts?: Post[];
}

export interface Plan {
  settings: Record<string, number | string>;
  taste: { pad_mm?: number; layer_heights_mm?: number[]; weights?: { time?: number; plastic_g?: number; contact_mm2?: number } };
  zones: Zone[];
  lines: Line[];
  posts: Post[];
  sheets: Cover[];
  steps: Cover[];
  struck?: Past;
}

export interface Remedy {
  name: string;
  text: string;
}

export interface Region {
  id: number | string;
  kind: string;
  rule: string;
  z_mm: P2;
  area_mm2: number;
  center_mm: P3;
  faces: number[];
  outlines: (Polygon & { z: number })[];
  remedies: Remedy[];
}

export interface Reason {
  rule: string;
  text: string;
  at_mm: P3;
  area_mm2?: number;
  id?: string;
  remedy?: string;
}

export interface Body {
  body: number;
  ids: string[];
  way: P3 | null;
}

export interface Ready {
  need: boolean;
  grow: boolean;
  proof: boolean;
  cost: boolean;
}

export interface Working {
  stage: string;
  text: string;
  fraction?: number;
}

export interface Cost {
  time_s: number;
  mass_g: number;
  dense_time_s: number;
  dense_mass_g: number;
  ratio_time: number | null;
  ratio_plastic: number | null;
  print_time_s?: number;
}

export interface State {
  revision: number;
  saved_revision: number;
  can_undo: boolean;
  can_redo: boolean;
  part_name: string;
  plan_path: string;
  turn_deg?: P3;
  plan: Plan;
  ready: Ready;
  working: Working | null;
  need: { area_mm2: number; regions: Region[] };
  proof: { verdict: "holds" | "fails" | "unknown"; reasons: Reason[]; notes: Reason[]; bodies: Body[] };
  cost: Cost | null;
  message?: string;
}

export interface Layer {
  z: number;
  index: number;
  height_mm: number;
  part: Polygon[];
  supports: { id: string; body: number; polygons: Polygon[] }[];
  bare: Polygon[];
  held: Polygon[]; // what of the part rests on supports
  bridges: Polygon[];
  below: Polygon[];
}

export interface Why {
  held: boolean;
  text: string;
  rule: string;
  region?: number | string;
  by: string[];
  remedies: Remedy[];
}

export interface Pose {
  number: number;
  kind: string;
  turn_deg: P3;
  points: number;
  front: boolean;
  holds: boolean;
  time_s: number;
  mass_g: number;
  contact_mm2: number;
  need_mm2: number;
  height_mm: number;
  tipping_deg: number;
  wins: { criterion: string; by: number }[] | null;
  loses: { criterion: string; by: number }[] | null;
}

export type Edit =
  | { op: "add-post"; at: P2; side?: number; foot?: number }
  | { op: "add-line"; at: P3[]; tie?: boolean; posts?: string[] }
  | { op: "add-sheet"; at: P3 }
  | { op: "add-steps"; at: P3 }
  | { op: "move"; id: string; by: P2 }
  | ({ op: "set"; id: string } & Record<string, unknown>)
  | { op: "delete"; id: string }
  | { op: "add-zone"; kind: ZoneKind; face: { at: P3; normal: P3 } }
  | ({ op: "settings" } & Record<string, unknown>);
