// The program under test: built once, and started on a copy of a part for each test.

import { test as base, expect, type Page } from "@playwright/test";
import { execFileSync, spawn, type ChildProcess } from "node:child_process";
import { copyFileSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { inflateRawSync } from "node:zlib";

const root = path.resolve("../../..");
const built = path.resolve("build");
export const binary = path.join(built, "falsework");

/** Builds the program with the page in it. */
export default function build(): void {
  mkdirSync(built, { recursive: true });
  execFileSync("go", ["build", "-o", binary, "./cmd/falsework"], { cwd: root, stdio: "inherit" });
}

/** A part on the drawing table. */
export interface Table {
  page: Page;
  part: string; // file
  plan: string; // file that saving writes
  folder: string;
  url: string; // with the token
  complaints: string[]; // what the browser complained of
}

export function start(part: string): Promise<{ child: ChildProcess; url: string }> {
  const child = spawn(binary, ["edit", part, "--no-browser"]);
  let said = "";
  return new Promise((done, fail) => {
    const hear = (data: Buffer): void => {
      said += data.toString();
      const url = /http:\/\/\S+/.exec(said)?.[0];
      if (url) done({ child, url });
    };
    child.stdout.on("data", hear);
    child.stderr.on("data", hear);
    child.on("exit", (code) => fail(new Error(`edit ended with ${code}: ${said}`)));
  });
}

export const test = base.extend<{ partName: string; table: Table }>({
  partName: ["wall-bracket", { option: true }],
  table: async ({ page, partName }, use) => {
    const folder = mkdtempSync(path.join(tmpdir(), "falsework-table-"));
    const part = path.join(folder, `${partName}.stl`);
    copyFileSync(path.join(root, "testdata/parts", `${partName}.stl`), part);
    const { child, url } = await start(part);
    const complaints: string[] = [];
    page.on("console", (m) => {
      if (m.type() === "error") complaints.push(m.text());
    });
    page.on("pageerror", (e) => complaints.push(e.message));
    await page.goto(url);
    await use({ page, part, plan: path.join(folder, `${partName}.plan.yaml`), folder, url, complaints });
    const ended = new Promise((done) => child.once("exit", done));
    child.kill("SIGINT");
    await ended;
    rmSync(folder, { recursive: true, force: true });
  },
});

/** Waits for a verdict that belongs to what is shown. */
export async function verdict(page: Page, want: "holds" | "fails"): Promise<void> {
  await expect(page.locator("[data-verdict]")).toHaveAttribute("data-verdict", want);
}

/** The files of a ZIP archive, by its central directory (PKWARE APPNOTE 4.3.12). */
export function unzip(data: Buffer): Map<string, Buffer> {
  const files = new Map<string, Buffer>();
  const end = data.lastIndexOf(Buffer.from("PK\x05\x06", "latin1"));
  let at = data.readUInt32LE(end + 16);
  for (let n = data.readUInt16LE(end + 10); n > 0; n--) {
    const method = data.readUInt16LE(at + 10);
    const size = data.readUInt32LE(at + 20);
    const nameLength = data.readUInt16LE(at + 28);
    const name = data.toString("utf8", at + 46, at + 46 + nameLength);
    const local = data.readUInt32LE(at + 42);
    const from = local + 30 + data.readUInt16LE(local + 26) + data.readUInt16LE(local + 28);
    const packed = data.subarray(from, from + size);
    files.set(path.basename(name), method === 0 ? packed : inflateRawSync(packed));
    at += 46 + nameLength + data.readUInt16LE(at + 30) + data.readUInt16LE(at + 32);
  }
  return files;
}

/** What the command line bakes of a part and its plan. */
export function bake(part: string, plan: string, out: string): { code: number; files: Map<string, Buffer>; verdict: string } {
  let code = 0;
  let told = "";
  try {
    told = execFileSync(binary, ["bake", part, "--plan", plan, "--out", out, "--json"], { encoding: "utf8", stdio: ["ignore", "pipe", "ignore"] });
  } catch (e) {
    const failed = e as { status: number; stdout: string };
    code = failed.status;
    told = failed.stdout;
  }
  const files = new Map(readdirSync(out).map((name) => [name, readFileSync(path.join(out, name))]));
  return { code, files, verdict: (JSON.parse(told) as { proof: { verdict: string } }).proof.verdict };
}

export { expect };
