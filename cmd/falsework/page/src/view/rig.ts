// The eye: a parallel projection, as in a drawing, that turns about a point.

import { OrthographicCamera, Vector3 } from "three";

/** Where the eye is. Angles in radians. */
export interface Stance {
  azimuth: number; // of the eye about +Z, from +X
  elevation: number; // of the eye above the plate, -π/2 to π/2
  scale: number; // mm to a pixel
  target: Vector3; // what the eye looks at, mm
}

const right = Math.PI / 2;

/** The views that have a name. */
export const views = {
  "three-quarter": { azimuth: -0.95, elevation: 0.5 },
  below: { azimuth: -0.95, elevation: -0.62 },
  front: { azimuth: -right, elevation: 0 },
  side: { azimuth: 0, elevation: 0 },
  above: { azimuth: -right, elevation: right },
} as const;

export type ViewName = keyof typeof views;

/** Keeps an elevation from going over the top. */
export function clampElevation(e: number): number {
  return Math.min(right, Math.max(-right, e));
}

/** The direction from the target to the eye. */
export function eyeDirection(azimuth: number, elevation: number): Vector3 {
  return new Vector3(Math.cos(elevation) * Math.cos(azimuth), Math.cos(elevation) * Math.sin(azimuth), Math.sin(elevation));
}

/** The directions that are right and up on the sheet. Both stay defined straight above. */
export function sheetAxes(azimuth: number, elevation: number): { right: Vector3; up: Vector3 } {
  const across = new Vector3(-Math.sin(azimuth), Math.cos(azimuth), 0);
  return { right: across, up: new Vector3().crossVectors(eyeDirection(azimuth, elevation), across) };
}

export class Rig {
  readonly camera = new OrthographicCamera();
  readonly stance: Stance = { ...views["three-quarter"], scale: 0.2, target: new Vector3() };
  private width = 1;
  private height = 1;
  private radius = 100;

  /** Takes another size of sheet; what filled it goes on filling it. */
  resize(width: number, height: number): void {
    const was = Math.min(this.width, this.height);
    this.width = Math.max(1, width);
    this.height = Math.max(1, height);
    if (was > 1) this.stance.scale *= was / Math.min(this.width, this.height);
    this.apply();
  }

  /** Sets target and scale so that a box, and some room for dimensions, fills the sheet. */
  fit(min: Vector3, max: Vector3): void {
    this.stance.target.addVectors(min, max).multiplyScalar(0.5);
    this.radius = Math.max(1, min.distanceTo(max));
    const axes = sheetAxes(this.stance.azimuth, this.stance.elevation);
    let w = 0;
    let h = 0;
    for (let corner = 0; corner < 8; corner++) {
      const p = new Vector3(corner & 1 ? max.x : min.x, corner & 2 ? max.y : min.y, corner & 4 ? max.z : min.z).sub(this.stance.target);
      w = Math.max(w, 2 * Math.abs(p.dot(axes.right)));
      h = Math.max(h, 2 * Math.abs(p.dot(axes.up)));
    }
    const margin = Math.min(90, this.width / 7, this.height / 7);
    this.stance.scale = Math.max(w / (this.width - 2 * margin), h / (this.height - 2 * margin), 1e-3);
    this.apply();
  }

  /** Takes a named view; those that look at a corner do so from an azimuth, if one is given. */
  look(name: ViewName, from: number | null = null): void {
    Object.assign(this.stance, views[name]);
    if (from !== null && (name === "three-quarter" || name === "below")) this.stance.azimuth = from;
    this.apply();
  }

  orbit(dx: number, dy: number): void {
    const s = this.stance;
    s.azimuth -= dx * 0.0075;
    s.elevation = clampElevation(s.elevation + dy * 0.0075);
    this.apply();
  }

  /** Moves the sheet by pixels, so that what is under the hand stays there. */
  pan(dx: number, dy: number): void {
    const s = this.stance;
    const axes = sheetAxes(s.azimuth, s.elevation);
    s.target.addScaledVector(axes.right, -dx * s.scale).addScaledVector(axes.up, dy * s.scale);
    this.apply();
  }

  /** Zooms about a place of the sheet, in pixels from its middle with y down. */
  zoom(factor: number, x = 0, y = 0): void {
    const s = this.stance;
    const next = Math.min(this.radius / 20, Math.max(0.002, s.scale * factor));
    const shift = s.scale - next;
    const axes = sheetAxes(s.azimuth, s.elevation);
    s.target.addScaledVector(axes.right, x * shift).addScaledVector(axes.up, -y * shift);
    s.scale = next;
    this.apply();
  }

  apply(): void {
    const { camera: c, stance: s } = this;
    const far = this.radius * 4;
    const dir = eyeDirection(s.azimuth, s.elevation);
    const axes = sheetAxes(s.azimuth, s.elevation);
    c.left = (-this.width * s.scale) / 2;
    c.right = -c.left;
    c.top = (this.height * s.scale) / 2;
    c.bottom = -c.top;
    c.near = 0;
    c.far = 2 * far;
    c.position.copy(s.target).addScaledVector(dir, far);
    c.up.copy(axes.up);
    c.lookAt(s.target);
    c.updateProjectionMatrix();
    c.updateMatrixWorld();
  }

  /** Where a point comes to lie on the sheet, in pixels from its upper left. */
  project(p: Vector3): { x: number; y: number } {
    const v = p.clone().project(this.camera);
    return { x: ((v.x + 1) / 2) * this.width, y: ((1 - v.y) / 2) * this.height };
  }

  size(): { width: number; height: number } {
    return { width: this.width, height: this.height };
  }
}
