// The edges that a draughtsman would ink: creases always, and of a rounded surface the
// outline, which depends on where the eye is.

import type { Mesh } from "../decode.ts";

/** Edges ready to be drawn as line segments, with the normals of both sides. */
export interface Edges {
  positions: Float32Array; // two corners an edge
  first: Float32Array; // normal of one side, at each corner
  second: Float32Array; // of the other side; zeros where the edge is always drawn
  count: number; // of segments
}

/** Cosine of 20°: sharper than a facet of a rounded surface as exporters make them, blunter than a chamfer. */
const crease = Math.cos((20 * Math.PI) / 180);

/** Below this a surface counts as flat over an edge, and has no outline there. */
const flat = Math.cos((0.6 * Math.PI) / 180);

/** The normals of all triangles, three numbers each; zeros for one without area. */
export function faceNormals(m: Mesh): Float32Array {
  const { positions: p, indices } = m;
  const out = new Float32Array(indices.length);
  for (let t = 0; t < indices.length; t += 3) {
    const a = indices[t]! * 3;
    const b = indices[t + 1]! * 3;
    const c = indices[t + 2]! * 3;
    const ux = p[b]! - p[a]!;
    const uy = p[b + 1]! - p[a + 1]!;
    const uz = p[b + 2]! - p[a + 2]!;
    const vx = p[c]! - p[a]!;
    const vy = p[c + 1]! - p[a + 1]!;
    const vz = p[c + 2]! - p[a + 2]!;
    const x = uy * vz - uz * vy;
    const y = uz * vx - ux * vz;
    const z = ux * vy - uy * vx;
    const l = Math.sqrt(x * x + y * y + z * z);
    if (l > 0) {
      out[t] = x / l;
      out[t + 1] = y / l;
      out[t + 2] = z / l;
    }
  }
  return out;
}

/**
 * Finds the edges of a mesh over shared corners. Without outlines only creases, and what
 * lies at the border of an open surface, are found.
 */
export function findEdges(m: Mesh, outlines: boolean, normals = faceNormals(m)): Edges {
  const { positions: p, indices } = m;
  const half = indices.length;
  // Half edges, by their lower corner, in buckets laid one after the other.
  const corners = p.length / 3;
  const start = new Uint32Array(corners + 1);
  const low = (h: number): number => Math.min(indices[h]!, indices[next(h)]!);
  for (let h = 0; h < half; h++) start[low(h) + 1]!++;
  for (let v = 0; v < corners; v++) start[v + 1]! += start[v]!;
  const fill = start.slice(0, corners);
  const bucket = new Uint32Array(half);
  for (let h = 0; h < half; h++) bucket[fill[low(h)]!++] = h;

  let room = 1024;
  let positions = new Float32Array(room * 6);
  let first = new Float32Array(room * 6);
  let second = new Float32Array(room * 6);
  let count = 0;
  const grown = (a: Float32Array): Float32Array<ArrayBuffer> => {
    const b = new Float32Array(room * 6);
    b.set(a);
    return b;
  };
  const put = (h: number, other: number): void => {
    if (count === room) {
      room *= 2;
      positions = grown(positions);
      first = grown(first);
      second = grown(second);
    }
    const a = indices[h]! * 3;
    const b = indices[next(h)]! * 3;
    const f = h - (h % 3);
    for (let k = 0; k < 3; k++) {
      const at = count * 6 + k;
      positions[at] = p[a + k]!;
      positions[at + 3] = p[b + k]!;
      first[at] = first[at + 3] = normals[f + k]!;
      second[at] = second[at + 3] = other < 0 ? 0 : normals[other + k]!;
    }
    count++;
  };
  const used = new Uint8Array(half);
  for (let v = 0; v < corners; v++) {
    const end = start[v + 1]!;
    for (let i = start[v]!; i < end; i++) {
      if (used[i]) continue;
      const h = bucket[i]!;
      const high = Math.max(indices[h]!, indices[next(h)]!);
      let twin = -1;
      let more = false;
      for (let j = i + 1; j < end; j++) {
        const g = bucket[j]!;
        if (Math.max(indices[g]!, indices[next(g)]!) !== high) continue;
        used[j] = 1;
        if (twin < 0) twin = g;
        else more = true;
      }
      if (twin < 0 || more) {
        put(h, -1);
        continue;
      }
      const f = h - (h % 3);
      const g = twin - (twin % 3);
      const dot = normals[f]! * normals[g]! + normals[f + 1]! * normals[g + 1]! + normals[f + 2]! * normals[g + 2]!;
      if (dot < crease) put(h, -1);
      else if (outlines && dot < flat) put(h, g);
    }
  }
  const n = count * 6;
  return { positions: positions.slice(0, n), first: first.slice(0, n), second: second.slice(0, n), count };
}

function next(h: number): number {
  return h % 3 === 2 ? h - 2 : h + 1;
}
