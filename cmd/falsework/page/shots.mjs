import { chromium } from "@playwright/test";
import { spawn } from "node:child_process";
import { mkdtempSync, copyFileSync } from "node:fs";
const part = process.argv[2] ?? "/tmp/wt/page/testdata/parts/wall-bracket.stl";
const plan = process.argv[3];
const dir = mkdtempSync("/tmp/pgw-");
const p = dir + "/" + part.split("/").pop();
copyFileSync(part, p);
if (plan) copyFileSync(plan, p.replace(/\.stl$/, ".plan.yaml"));
const srv = spawn("/tmp/fwpage", ["edit", p, "--no-browser"]);
let log=""; 
const url = await new Promise((ok) => { const f=(d) => { log+=d; const m = /http:\S+/.exec(log); if (m) ok(m[0]); }; srv.stdout.on("data", f); srv.stderr.on("data", f); });
console.log(url);
const b = await chromium.launch({ executablePath: "/usr/bin/chromium", args: ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"] });
export async function page(opts) { const c = await b.newContext(opts); const pg = await c.newPage(); pg.on("console", m => console.log("console:", m.text())); pg.on("pageerror", e => console.log("error:", e.message)); await pg.goto(url); return pg; }
try {
  const pg = await page({ viewport: { width: 1360, height: 860 }, colorScheme: "light" });
  await pg.waitForSelector(".title");
  await pg.waitForTimeout(2500);
  await pg.screenshot({ path: "/tmp/pgshots/1-open.png" });
  await pg.keyboard.press("b"); await pg.waitForTimeout(700);
  await pg.screenshot({ path: "/tmp/pgshots/2-below.png" });
  await pg.keyboard.press("l"); 
  await pg.waitForTimeout(1200);
  await pg.screenshot({ path: "/tmp/pgshots/3-laying.png" });
  await pg.waitForSelector("[data-verdict=holds]", { timeout: 20000 }); await pg.waitForTimeout(1200);
  await pg.screenshot({ path: "/tmp/pgshots/4-laid.png" });

  const shot = async (n, w=600) => { await pg.waitForTimeout(w); await pg.screenshot({ path: `/tmp/pgshots/${n}.png` }); };
  await pg.keyboard.press("p"); await shot("5-plan", 1200);
  await pg.mouse.click(700, 400); await shot("6-plan-why");
  await pg.keyboard.press("PageDown"); await pg.keyboard.press("PageDown"); await pg.keyboard.press("PageDown"); await shot("7-plan-lower", 900);
  await pg.keyboard.press("Escape"); await pg.keyboard.press("p"); await pg.keyboard.press("1"); await shot("8-threequarter");
  await pg.keyboard.press("g"); await shot("9-glass");
  await pg.keyboard.press("g"); await pg.keyboard.press("e"); await shot("10-exploded");
  await pg.keyboard.press("e"); await pg.keyboard.press("x"); await shot("11-section"); await pg.keyboard.press("b"); await shot("12-section-below"); await pg.keyboard.press("x");
  await pg.click("#row-L7"); await shot("13-selected");
  await pg.keyboard.press("Delete"); await pg.waitForTimeout(150); await shot("14-stale", 50);
  await pg.waitForSelector("[data-verdict=fails]"); await pg.keyboard.press("n"); await shot("15-fails", 1500);
  await pg.click("#tab-particulars"); await shot("16-settings");
  await pg.keyboard.press("?"); await shot("17-help"); await pg.keyboard.press("Escape");
  const dk = await page({ viewport: { width: 1360, height: 860 }, colorScheme: "dark" });
  await dk.waitForSelector(".title"); await dk.keyboard.press("b"); await dk.waitForTimeout(1500); await dk.screenshot({ path: "/tmp/pgshots/20-dark.png" });
  await dk.keyboard.press("p"); await dk.waitForTimeout(1200); await dk.screenshot({ path: "/tmp/pgshots/21-dark-plan.png" });
  const ph = await page({ viewport: { width: 390, height: 844 }, deviceScaleFactor: 2, hasTouch: true, isMobile: true, colorScheme: "light" });
  await ph.waitForSelector(".title"); await ph.waitForTimeout(1500); await ph.screenshot({ path: "/tmp/pgshots/30-phone.png" });
  await ph.tap("#tab-schedule"); await ph.waitForTimeout(700); await ph.screenshot({ path: "/tmp/pgshots/31-phone-drawer.png" });
  await ph.tap("#tab-schedule"); await ph.waitForTimeout(400); await ph.touchscreen.tap(195, 330); await ph.waitForTimeout(700); await ph.screenshot({ path: "/tmp/pgshots/32-phone-note.png" });
} catch (e) { console.log(e.message, log); } finally { await b.close(); srv.kill("SIGINT"); await new Promise(r => srv.on("exit", r)); }
