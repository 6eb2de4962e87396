// The model on the sheet: the part, its need, the supports, and what a pointer meets.

import {
  BufferAttribute,
  BufferGeometry,
  ColorManagement,
  Group,
  LineSegments,
  Mesh as Solid,
  Plane,
  Raycaster,
  Scene,
  ShaderMaterial,
  Shape,
  ShapeGeometry,
  Path,
  Vector2,
  Vector3,
  WebGLRenderer,
} from "three";
import type { Mesh, Piece } from "../decode.ts";
import type { Body, P3, Polygon, Region } from "../types.ts";
import { findEdges } from "./edges.ts";
import { cutBy, hatching, paper, pen, readPalette, type Palette } from "./inks.ts";
import { eyeDirection, Rig } from "./rig.ts";

// Colours are those of the style sheet as they are: ink is not lit.
ColorManagement.enabled = false;

/** What lies under a pointer. */
export type Hit = { kind: "piece"; id: string; at: P3 } | { kind: "part"; at: P3; normal: P3 };

/** How the model is shown. */
export interface Showing {
  glass: boolean; // the part is faint
  exploded: boolean;
  cut: number | null; // height of the section, mm
  selected: string;
  stale: boolean; // the supports are of an earlier plan
}

/** Past so many triangles outlines of rounded surfaces are left out: finding and drawing them takes too long. */
const outlinesUpTo = 120_000;

interface Drawn {
  id: string;
  solid: Solid<BufferGeometry, ShaderMaterial>;
  lines: LineSegments<BufferGeometry, ShaderMaterial>;
}

export class Stage {
  readonly rig = new Rig();
  readonly min = new Vector3();
  readonly max = new Vector3(1, 1, 1);
  private readonly renderer: WebGLRenderer;
  private readonly scene = new Scene();
  private readonly pieces = new Group();
  private readonly need = new Group();
  private readonly rays = new Raycaster();
  private part: { solid: Solid<BufferGeometry, ShaderMaterial>; lines: LineSegments<BufferGeometry, ShaderMaterial>; mesh: Mesh } | null = null;
  private drawn: Drawn[] = [];
  private ways = new Map<string, P3>();
  private regions: Region[] = [];
  private palette: Palette;
  private showing: Showing = { glass: false, exploded: false, cut: null, selected: "", stale: false };
  private asked = 0;
  private frames = 0;

  /** afterDraw is called once a frame has been drawn, for what is laid over it. */
  constructor(
    private readonly canvas: HTMLCanvasElement,
    private readonly afterDraw: () => void,
  ) {
    this.renderer = new WebGLRenderer({ canvas, antialias: true, alpha: true });
    this.renderer.localClippingEnabled = true;
    this.palette = readPalette(canvas);
    this.scene.add(this.pieces, this.need);
  }

  dispose(): void {
    cancelAnimationFrame(this.asked);
    this.renderer.dispose();
  }

  resize(width: number, height: number): void {
    this.renderer.setPixelRatio(Math.min(2, devicePixelRatio));
    this.renderer.setSize(width, height, false);
    this.rig.resize(width, height);
    this.invalidate();
  }

  /** Asks for a frame. */
  invalidate(): void {
    if (this.asked) return;
    this.asked = requestAnimationFrame(() => {
      this.asked = 0;
      this.draw();
    });
  }

  private draw(): void {
    const { azimuth, elevation, scale } = this.rig.stance;
    const eye = eyeDirection(azimuth, elevation);
    const ratio = this.renderer.getPixelRatio();
    this.each((m) => {
      const u = m.uniforms;
      if (u["eye"]) (u["eye"].value as Vector3).copy(eye);
      if (u["ratio"]) u["ratio"].value = ratio;
      if (u["pitch"]) u["pitch"].value = Math.max(1.2, 9 * scale);
    });
    this.applyCut();
    this.renderer.render(this.scene, this.rig.camera);
    this.frames++;
    this.canvas.dataset["frames"] = String(this.frames);
    this.afterDraw();
  }

  private each(f: (m: ShaderMaterial) => void): void {
    this.scene.traverse((o) => {
      const m = (o as Partial<Solid>).material;
      if (m instanceof ShaderMaterial) f(m);
    });
  }

  /** A section takes away what is between it and the eye. */
  private applyCut(): void {
    const z = this.showing.cut;
    const planes = z === null ? [] : [this.fromBelow() ? new Plane(new Vector3(0, 0, 1), -z) : new Plane(new Vector3(0, 0, -1), z)];
    this.each((m) => cutBy(m, planes));
  }

  fromBelow(): boolean {
    return this.rig.stance.elevation < 0;
  }

  /** Takes the colours of the style sheet anew. */
  repaint(): void {
    this.palette = readPalette(this.canvas);
    const part = this.part?.mesh;
    if (part) this.setPart(part, false);
    const pieces = this.drawn.map((d) => (d.solid.userData["piece"] as Piece));
    this.setPieces(pieces);
    this.setNeed(this.regions);
    this.invalidate();
  }

  setPart(mesh: Mesh, fit: boolean): void {
    if (this.part) this.drop(this.part.solid, this.part.lines);
    const geometry = geometryOf(mesh);
    geometry.computeBoundingBox();
    this.min.copy(geometry.boundingBox!.min);
    this.max.copy(geometry.boundingBox!.max);
    const p = this.palette;
    const solid = new Solid(geometry, paper(p.part, p.shade, p.ink, p.paper));
    const lines = new LineSegments(edgeGeometry(mesh, mesh.indices.length / 3 <= outlinesUpTo), pen(p.ink));
    this.scene.add(solid, lines);
    this.part = { solid, lines, mesh };
    this.show(this.showing);
    if (fit) this.fit();
  }

  setPieces(pieces: Piece[]): void {
    for (const d of this.drawn) this.drop(d.solid, d.lines);
    const p = this.palette;
    this.drawn = pieces.map((piece) => {
      const solid = new Solid(geometryOf(piece), paper(p.wash, p.support, p.support, p.wash));
      const lines = new LineSegments(edgeGeometry(piece, true), pen(p.ink));
      solid.material.uniforms["solid"]!.value = 1;
      solid.userData["piece"] = piece;
      this.pieces.add(solid, lines);
      return { id: piece.id, solid, lines };
    });
    this.show(this.showing);
  }

  setBodies(bodies: Body[]): void {
    this.ways = new Map(bodies.flatMap((b) => (b.way ? b.ids.map((id) => [id, b.way] as [string, P3]) : [])));
    this.show(this.showing);
  }

  /** Hatches what would not hold: level regions by their outlines, others by their faces. */
  setNeed(regions: Region[]): void {
    this.regions = regions;
    for (const o of [...this.need.children]) this.drop(o as Solid);
    if (!this.part) return;
    const ink = hatching(this.palette.need, false);
    for (const r of regions) {
      const level = r.z_mm[1] - r.z_mm[0] < 0.5 && r.outlines.length > 0;
      const solid = new Solid(level ? outlineGeometry(r.outlines) : faceGeometry(this.part.mesh, r.faces), ink);
      solid.renderOrder = 2;
      this.need.add(solid);
    }
    this.show(this.showing);
  }

  show(showing: Showing): void {
    this.showing = showing;
    const p = this.palette;
    if (this.part) {
      const { solid, lines } = this.part;
      const glassy = solid.material.transparent;
      if (glassy !== showing.glass) {
        solid.material.dispose();
        solid.material = paper(p.part, p.shade, p.ink, p.paper, showing.glass ? { opacity: 0.14 } : {});
        solid.renderOrder = showing.glass ? 3 : 0;
      }
      lines.material.uniforms["strength"]!.value = showing.glass ? 0.45 : 1;
      lines.material.transparent = showing.glass;
    }
    const far = 0.55 * this.max.distanceTo(this.min);
    for (const d of this.drawn) {
      const picked = d.id !== "" && d.id === showing.selected;
      const u = d.solid.material.uniforms;
      u["lit"]!.value = picked ? p.mark : p.wash;
      u["shade"]!.value = picked ? p.mark : p.support;
      u["stale"]!.value = showing.stale ? 1 : 0;
      d.lines.material.uniforms["ink"]!.value = showing.stale ? p.stale : p.ink;
      const way = showing.exploded ? this.ways.get(d.id) : undefined;
      for (const o of [d.solid, d.lines]) {
        o.position.set(...((way ?? [0, 0, 0]) as P3)).multiplyScalar(far);
        o.updateMatrixWorld();
      }
    }
    // Through the faint part its hatching would hide the supports.
    for (const o of this.need.children) (o as Solid<BufferGeometry, ShaderMaterial>).material.uniforms["strength"]!.value = showing.glass ? 0.3 : 1;
    this.invalidate();
  }

  /** Brings all that is shown onto the sheet, with supports where they are pulled to. */
  fit(): void {
    const min = this.min.clone();
    const max = this.max.clone();
    for (const d of this.drawn) {
      const b = this.boxOf(d.id);
      if (!b || !this.showing.exploded) continue;
      min.min(b.min.clone().add(d.solid.position));
      max.max(b.max.clone().add(d.solid.position));
    }
    this.rig.fit(min, max);
    this.invalidate();
  }

  private drop(...objects: (Solid | LineSegments)[]): void {
    for (const o of objects) {
      o.removeFromParent();
      o.geometry.dispose();
      (o.material as ShaderMaterial).dispose();
    }
  }

  /** What is at a place of the sheet, in pixels from its upper left. */
  pick(x: number, y: number): Hit | null {
    const { width, height } = this.rig.size();
    this.rays.setFromCamera(new Vector2((2 * x) / width - 1, 1 - (2 * y) / height), this.rig.camera);
    const { cut, glass } = this.showing;
    const below = this.fromBelow();
    const there = (z: number): boolean => cut === null || (below ? z >= cut : z <= cut);
    const piece = this.rays
      .intersectObjects(this.drawn.map((d) => d.solid), false)
      .find((i) => there(i.point.z));
    const spot = this.part ? this.rays.intersectObject(this.part.solid, false).find((i) => there(i.point.z) && i.face && i.face.normal.dot(this.rays.ray.direction) < 0) : undefined;
    if (piece && (!spot || glass || piece.distance < spot.distance)) {
      const { id } = piece.object.userData["piece"] as Piece;
      if (id !== "") return { kind: "piece", id, at: piece.point.toArray() };
    }
    if (!spot?.face) return null;
    return { kind: "part", at: spot.point.toArray(), normal: spot.face.normal.toArray() };
  }

  /** Where the line of sight through a place of the sheet meets a level; null if it runs along it. */
  level(x: number, y: number, z: number): P3 | null {
    const { width, height } = this.rig.size();
    this.rays.setFromCamera(new Vector2((2 * x) / width - 1, 1 - (2 * y) / height), this.rig.camera);
    const { origin, direction } = this.rays.ray;
    if (Math.abs(direction.z) < 0.05) return null;
    return origin.clone().addScaledVector(direction, (z - origin.z) / direction.z).toArray();
  }

  /** The box of a structure as it grew. */
  boxOf(id: string): { min: Vector3; max: Vector3 } | null {
    const d = this.drawn.find((one) => one.id === id);
    if (!d) return null;
    d.solid.geometry.computeBoundingBox();
    const b = d.solid.geometry.boundingBox!;
    return { min: b.min, max: b.max };
  }
}

function geometryOf(m: Mesh): BufferGeometry {
  const g = new BufferGeometry();
  g.setAttribute("position", new BufferAttribute(m.positions, 3));
  g.setIndex(new BufferAttribute(m.indices, 1));
  return g;
}

function edgeGeometry(m: Mesh, outlines: boolean): BufferGeometry {
  const e = findEdges(m, outlines);
  const g = new BufferGeometry();
  g.setAttribute("position", new BufferAttribute(e.positions, 3));
  g.setAttribute("first", new BufferAttribute(e.first, 3));
  g.setAttribute("second", new BufferAttribute(e.second, 3));
  return g;
}

function faceGeometry(m: Mesh, faces: number[]): BufferGeometry {
  const g = new BufferGeometry();
  const indices = new Uint32Array(faces.length * 3);
  faces.forEach((f, i) => indices.set(m.indices.subarray(f * 3, f * 3 + 3), i * 3));
  g.setAttribute("position", new BufferAttribute(m.positions, 3));
  g.setIndex(new BufferAttribute(indices, 1));
  return g;
}

function outlineGeometry(outlines: (Polygon & { z: number })[]): BufferGeometry {
  const points = (ring: [number, number][]): Vector2[] => ring.map(([x, y]) => new Vector2(x, y));
  const shapes = outlines.map((o) => {
    const s = new Shape(points(o.outer));
    s.holes = (o.holes ?? []).map((h) => new Path(points(h)));
    return s;
  });
  const g = new ShapeGeometry(shapes);
  const z = outlines[0]?.z ?? 0;
  const p = g.getAttribute("position") as BufferAttribute;
  for (let i = 0; i < p.count; i++) p.setZ(i, z);
  return g;
}

