// Meshes as the server sends them: little endian, see cmd/falsework for the writer.

import type { P3 } from "./types.ts";

/** Triangles over shared corners. */
export interface Mesh {
  positions: Float32Array; // x, y, z of each corner, mm
  indices: Uint32Array; // three to a triangle
}

/** A structure as it grew. */
export interface Piece extends Mesh {
  id: string;
  body: number; // of the proof, from 1; 0 where it is not known yet
}

/** A message that is not what it says it is. */
export class FormatError extends Error {}

class Reader {
  private at = 0;
  private readonly view: DataView;
  constructor(private readonly data: ArrayBuffer, magic: string) {
    this.view = new DataView(data);
    if (this.text(4) !== magic) throw new FormatError(`the mesh does not begin with ${magic}`);
  }
  private step(bytes: number): number {
    const from = this.at;
    if (from + bytes > this.data.byteLength) throw new FormatError("the mesh ends too soon");
    this.at += bytes;
    return from;
  }
  text(bytes: number): string {
    return new TextDecoder().decode(new Uint8Array(this.data, this.step(bytes), bytes));
  }
  u32(): number {
    return this.view.getUint32(this.step(4), true);
  }
  f32(): number {
    return this.view.getFloat32(this.step(4), true);
  }
  /** Numbers need not be aligned in the message, so they are copied. */
  private copy(count: number, size: number): ArrayBuffer {
    const from = this.step(count * size);
    return this.data.slice(from, from + count * size);
  }
  u16s(count: number): Uint16Array {
    return new Uint16Array(this.copy(count, 2));
  }
  u32s(count: number): Uint32Array {
    return new Uint32Array(this.copy(count, 4));
  }
  f32s(count: number): Float32Array {
    return new Float32Array(this.copy(count, 4));
  }
  end(): void {
    if (this.at !== this.data.byteLength) throw new FormatError("something follows the mesh");
  }
}

function checked(indices: Uint32Array, vertices: number): Uint32Array {
  for (const i of indices) {
    if (i >= vertices) throw new FormatError(`corner ${i} of ${vertices} does not exist`);
  }
  return indices;
}

/** Reads the part, whose corners come as steps of 1/65535 of its box. */
export function decodePart(data: ArrayBuffer): Mesh {
  const r = new Reader(data, "FWM1");
  const vertices = r.u32();
  const triangles = r.u32();
  const min: P3 = [r.f32(), r.f32(), r.f32()];
  const max: P3 = [r.f32(), r.f32(), r.f32()];
  const steps = r.u16s(vertices * 3);
  const indices = checked(r.u32s(triangles * 3), vertices);
  r.end();
  const positions = new Float32Array(vertices * 3);
  for (let axis = 0; axis < 3; axis++) {
    const from = min[axis] ?? 0;
    const scale = ((max[axis] ?? 0) - from) / 65535;
    for (let i = axis; i < positions.length; i += 3) positions[i] = from + (steps[i] ?? 0) * scale;
  }
  return { positions, indices };
}

/** Reads supports, a piece for each structure. */
export function decodeSupports(data: ArrayBuffer): Piece[] {
  const r = new Reader(data, "FWS1");
  const pieces: Piece[] = [];
  for (let groups = r.u32(); groups > 0; groups--) {
    const id = r.text(r.u32());
    const body = r.u32();
    const vertices = r.u32();
    const triangles = r.u32();
    const positions = r.f32s(vertices * 3);
    pieces.push({ id, body, positions, indices: checked(r.u32s(triangles * 3), vertices) });
  }
  r.end();
  return pieces;
}
