// Measures how long a large part takes to open, and frames a second while it is turned.
// What draws is whatever the browser has; without a graphics card that is the processor.

import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { test as base } from "@playwright/test";
import { start } from "./program.ts";

/** A lobed jar of so many triangles: rings of points, closed at both ends, standing on the plate. */
function jar(triangles: number): Buffer {
  const around = Math.round(Math.sqrt(triangles / 2));
  const rings = Math.round(triangles / 2 / around);
  const at = (i: number, j: number): [number, number, number] => {
    const a = (2 * Math.PI * (i % around)) / around;
    const v = j / rings;
    const r = j === 0 || j === rings ? 0 : (18 + 8 * Math.sin(3 * v * Math.PI)) * (1 + 0.06 * Math.sin(9 * a));
    return [40 + r * Math.cos(a), 40 + r * Math.sin(a), 60 * Math.min(1, Math.max(0, (j - 1) / (rings - 2)))];
  };
  const list: number[][] = [];
  for (let j = 0; j < rings; j++) {
    for (let i = 0; i < around; i++) {
      const [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
      if (j > 0) list.push([...a, ...b, ...c]);
      if (j < rings - 1) list.push([...a, ...c, ...d]);
    }
  }
  const data = Buffer.alloc(84 + 50 * list.length);
  data.writeUInt32LE(list.length, 80);
  list.forEach((t, n) => t.forEach((v, k) => data.writeFloatLE(v, 84 + 50 * n + 12 + 4 * k)));
  return data;
}

for (const triangles of [100_000, 1_000_000]) {
  base(`${triangles} triangles`, async ({ page }) => {
    const folder = mkdtempSync(path.join(tmpdir(), "falsework-measure-"));
    const part = path.join(folder, "jar.stl");
    writeFileSync(part, jar(triangles));
    const begun = Date.now();
    const { child, url } = await start(part);
    const served = Date.now();
    await page.goto(url);
    // The first frame with the part on it carries its dimensions.
    await page.locator(".marks .dimension").first().waitFor({ state: "attached" });
    const open = Date.now();
    const told = await page.locator(".title .name").textContent();
    const { frames, seconds } = await page.evaluate(async () => {
      const view = document.querySelector(".view")!;
      const canvas = document.querySelector("canvas")!;
      const box = view.getBoundingClientRect();
      const fire = (type: string, x: number): boolean =>
        view.dispatchEvent(new PointerEvent(type, { pointerId: 1, button: 0, isPrimary: true, clientX: box.left + x, clientY: box.top + 200, bubbles: true }));
      // A made-up pointer cannot be captured.
      view.setPointerCapture = () => {};
      fire("pointerdown", 300);
      const before = Number(canvas.dataset["frames"]);
      const from = performance.now();
      let x = 300;
      while (performance.now() - from < 4000) {
        fire("pointermove", (x += 3));
        await new Promise(requestAnimationFrame);
      }
      fire("pointerup", x);
      // What was asked of the drawing thread is waited for.
      canvas.getContext("webgl2")!.readPixels(0, 0, 1, 1, 0x1908, 0x1401, new Uint8Array(4));
      return { frames: Number(canvas.dataset["frames"]) - before, seconds: (performance.now() - from) / 1000 };
    });
    const sent = (await (await page.request.get(`${new URL(url).origin}/api/part`, { headers: { "Falsework-Token": new URL(url).searchParams.get("token")! } })).json()) as { sent_triangles: number; bytes: number };
    console.log(`${triangles} triangles (${told}): served after ${served - begun} ms, on the sheet after ${open - begun} ms; ${sent.sent_triangles} sent, ${sent.bytes} bytes; ${(frames / seconds).toFixed(1)} frames a second while turned`);
    const ended = new Promise((done) => child.once("exit", done));
    child.kill("SIGINT");
    await ended;
    rmSync(folder, { recursive: true, force: true });
  });
}
