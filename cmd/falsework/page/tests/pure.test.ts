import assert from "node:assert/strict";
import { test } from "node:test";
import { splitEvents } from "../src/api.ts";
import { decodePart, decodeSupports, FormatError } from "../src/decode.ts";
import { escape, lineAt, mm, pathOf, time } from "../src/format.ts";
import { rowsOf } from "../src/ui/rows.ts";
import { faceNormals, findEdges } from "../src/view/edges.ts";
import { fromTrackpad } from "../src/view/input.ts";
import { dimension } from "../src/view/overlay.ts";
import { clampElevation, eyeDirection, Rig, sheetAxes } from "../src/view/rig.ts";
import { Vector3 } from "three";
import type { State } from "../src/types.ts";

/** Writes numbers one after the other, little endian and without padding, as the server does. */
function packed(...items: (string | ["u32" | "f32" | "u16", ...number[]])[]): ArrayBuffer {
  const bytes: number[] = [];
  const put = (size: number, f: (v: DataView) => void): void => {
    const v = new DataView(new ArrayBuffer(size));
    f(v);
    bytes.push(...new Uint8Array(v.buffer));
  };
  for (const item of items) {
    if (typeof item === "string") bytes.push(...new TextEncoder().encode(item));
    else {
      const [kind, ...values] = item;
      for (const n of values as number[]) {
        if (kind === "u32") put(4, (v) => v.setUint32(0, n, true));
        else if (kind === "u16") put(2, (v) => v.setUint16(0, n, true));
        else put(4, (v) => v.setFloat32(0, n, true));
      }
    }
  }
  return new Uint8Array(bytes).buffer;
}

test("a part is read over the whole of its box", () => {
  const m = decodePart(packed("FWM1", ["u32", 3, 1], ["f32", -1, 0, 2], ["f32", 3, 10, 2], ["u16", 0, 0, 0, 65535, 0, 0, 0, 65535, 65535], ["u32", 0, 1, 2]));
  assert.deepEqual([...m.positions], [-1, 0, 2, 3, 0, 2, -1, 10, 2]);
  assert.deepEqual([...m.indices], [0, 1, 2]);
});

test("a part that is not one is refused", () => {
  const good = ["FWM1", ["u32", 3, 1], ["f32", 0, 0, 0, 1, 1, 1], ["u16", 0, 0, 0, 1, 1, 1, 2, 2, 2]] as Parameters<typeof packed>;
  assert.throws(() => decodePart(packed("FWX1", ["u32", 0, 0])), FormatError);
  assert.throws(() => decodePart(packed(...good, ["u32", 0, 1, 3])), FormatError, "a corner that does not exist");
  assert.throws(() => decodePart(packed(...good, ["u32", 0, 1])), FormatError, "too short");
  assert.throws(() => decodePart(packed(...good, ["u32", 0, 1, 2, 9])), FormatError, "too long");
});

test("supports are read piece by piece, wherever their names end", () => {
  const one = (id: string, body: number): Parameters<typeof packed> => [["u32", id.length], id, ["u32", body, 3, 1], ["f32", 0, 0, 0, 1, 0, 0, 0, 1, 0], ["u32", 0, 1, 2]];
  const pieces = decodeSupports(packed("FWS1", ["u32", 2], ...one("L12", 1), ...one("P1", 0)));
  assert.deepEqual(pieces.map((p) => [p.id, p.body, p.positions.length, p.indices.length]), [["L12", 1, 9, 3], ["P1", 0, 9, 3]]);
});

/** A cube's twelve triangles over eight corners, outward. */
function cube(): { positions: Float32Array; indices: Uint32Array } {
  const positions = new Float32Array(24);
  for (let i = 0; i < 8; i++) positions.set([i & 1, (i >> 1) & 1, (i >> 2) & 1], i * 3);
  const quads = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
  return { positions, indices: new Uint32Array(quads.flatMap(([a, b, c, d]) => [a!, b!, c!, a!, c!, d!])) };
}

test("a cube has twelve edges and no outlines besides", () => {
  const e = findEdges(cube(), true);
  assert.equal(e.count, 12);
  assert.ok(e.second.every((v) => v === 0));
  for (let i = 0; i < e.count; i++) {
    const d = [0, 1, 2].map((k) => Math.abs(e.positions[i * 6 + k]! - e.positions[i * 6 + 3 + k]!));
    assert.equal(d.filter((v) => v === 1).length, 1, "runs along one axis");
  }
});

test("the facets of a prism of 36 sides meet in outlines, its rims in creases", () => {
  const n = 36; // 10° a facet, less than the 20° that make a crease
  const positions: number[] = [];
  const indices: number[] = [];
  for (let i = 0; i < n; i++) {
    const a = (2 * Math.PI * i) / n;
    positions.push(Math.cos(a), Math.sin(a), 0, Math.cos(a), Math.sin(a), 1);
  }
  for (let i = 0; i < n; i++) {
    const [a, b] = [2 * i, 2 * ((i + 1) % n)];
    indices.push(a, b, b + 1, a, b + 1, a + 1);
    if (i > 0 && i < n - 1) indices.push(0, b, a, 1, a + 1, b + 1);
  }
  const mesh = { positions: new Float32Array(positions), indices: new Uint32Array(indices) };
  assert.equal(findEdges(mesh, false).count, 2 * n);
  assert.equal(findEdges(mesh, true).count, 3 * n);
});

test("the border of an open surface is an edge, and normals have unit length", () => {
  const one = { positions: new Float32Array([0, 0, 0, 2, 0, 0, 0, 2, 0]), indices: new Uint32Array([0, 1, 2]) };
  assert.equal(findEdges(one, true).count, 3);
  assert.deepEqual([...faceNormals(one)], [0, 0, 1]);
});

test("right, up and the eye make a right-handed frame from wherever one looks", () => {
  for (const [az, el] of [[0, 0], [1, 0.5], [-2, -Math.PI / 2], [3, Math.PI / 2]] as const) {
    const { right, up } = sheetAxes(az, el);
    assert.ok(new Vector3().crossVectors(right, up).distanceTo(eyeDirection(az, el)) < 1e-9);
  }
  assert.equal(clampElevation(9), Math.PI / 2);
});

test("a zoom leaves what is under the pointer where it is", () => {
  const rig = new Rig();
  rig.resize(800, 600);
  rig.fit(new Vector3(0, 0, 0), new Vector3(40, 30, 20));
  const p = new Vector3(7, 3, 11);
  const before = rig.project(p);
  rig.zoom(0.6, before.x - 400, before.y - 300);
  const after = rig.project(p);
  assert.ok(Math.hypot(after.x - before.x, after.y - before.y) < 1e-6);
  rig.pan(12, -5);
  const moved = rig.project(p);
  assert.ok(Math.abs(moved.x - after.x - 12) < 1e-6 && Math.abs(moved.y - after.y + 5) < 1e-6);
});

test("a box that was fitted lies on the sheet", () => {
  const rig = new Rig();
  rig.resize(900, 500);
  rig.fit(new Vector3(-5, 0, 0), new Vector3(90, 12, 44));
  for (const x of [-5, 90]) for (const y of [0, 12]) for (const z of [0, 44]) {
    const p = rig.project(new Vector3(x, y, z));
    assert.ok(p.x > 0 && p.x < 900 && p.y > 0 && p.y < 500);
  }
});

test("figures of a dimension never stand on their head", () => {
  for (let k = 0; k < 16; k++) {
    const a = (k / 16) * 2 * Math.PI;
    const svg = dimension({ x: 0, y: 0 }, { x: 100 * Math.cos(a), y: 100 * Math.sin(a) }, { x: -Math.sin(a), y: Math.cos(a) }, "5");
    const turn = Number(/rotate\((-?[\d.]+)/.exec(svg)?.[1] ?? 0);
    assert.ok(turn >= -90.5 && turn <= 89.5, `${turn}`);
  }
});

test("numbers are as short as they may be", () => {
  assert.equal(mm(30), "30");
  assert.equal(mm(-0.001), "0");
  assert.equal(mm(-2.5), "−2.5");
  assert.equal(mm(100, 0), "100");
  assert.equal(mm(12.345), "12.35");
  assert.equal(time(0), "none");
  assert.equal(time(62), "62 s");
  assert.equal(time(19 * 60), "19 min");
  assert.equal(time(2 * 3600 + 540), "2 h 9 min");
});

test("polygons with holes become one path each ring of which is closed", () => {
  assert.equal(pathOf([{ outer: [[0, 0], [2, 0], [2, 1]], holes: [[[1, 0.2], [1.5, 0.2], [1.5, 0.4]]] }]), "M0 0L2 0L2 1ZM1 0.2L1.5 0.2L1.5 0.4Z");
  assert.equal(pathOf([{ outer: [[0, 0], [1, 1]] }]), "", "two points enclose nothing");
});

test("a contact at a spot has the spot in its middle", () => {
  assert.deepEqual(lineAt([10, 5, 30], 8), [[6, 5, 30], [14, 5, 30]]);
});

test("text cannot become markup", () => {
  assert.equal(escape(`<a b="c&">`), "&lt;a b=&quot;c&amp;&quot;&gt;");
});

test("events are split wherever the stream is cut", () => {
  const text = ": hello\n\nevent: state\ndata: {\"a\":1}\n\nevent: progress\ndata: null\n\n";
  let rest = "";
  const got: string[] = [];
  for (const c of text) {
    const s = splitEvents(rest + c);
    rest = s.rest;
    got.push(...s.events.map((e) => `${e.event} ${e.data}`));
  }
  assert.deepEqual(got, ['state {"a":1}', "progress null"]);
});

test("two fingers on a trackpad are told from a wheel", () => {
  assert.equal(fromTrackpad({ deltaMode: 0, deltaX: 0, deltaY: 120 }), false);
  assert.equal(fromTrackpad({ deltaMode: 1, deltaX: 0, deltaY: 3 }), false);
  assert.equal(fromTrackpad({ deltaMode: 0, deltaX: 4, deltaY: 9 }), true);
  assert.equal(fromTrackpad({ deltaMode: 0, deltaX: 0, deltaY: -2.25 }), true);
});

test("the schedule tells whose a structure is and what is found of it", () => {
  const s = {
    plan: {
      settings: {}, taste: {}, sheets: [], steps: [],
      posts: [{ id: "P1", at: [1, 2], side: 5 }, { id: "P2", at: [3, 4], under: "L1", by: "tool" }],
      lines: [{ id: "L1", at: [[0, 0, 30], [3, 4, 30]], by: "tool" }, { id: "T1", at: [[0, 0, 9], [1, 0, 9]], tie: true, by: "designer" }],
      zones: [{ id: "Z1", kind: "keep-clean", face: { at: [1, 1, 1], normal: [0, 0, 1] } }],
    },
    proof: { verdict: "fails", notes: [], bodies: [], reasons: [{ rule: "part-unheld", text: "", at_mm: [0, 0, 0], id: "L1" }] },
  } as unknown as State;
  assert.deepEqual(rowsOf(s).map((r) => [r.id, r.kind, r.yours, r.findings]), [
    ["P1", "post", true, 0], ["P2", "sole", false, 0], ["L1", "line", false, 1], ["T1", "tie", true, 0], ["Z1", "zone", true, 0],
  ]);
  assert.match(rowsOf(s)[2]!.what, /5 long/);
});
