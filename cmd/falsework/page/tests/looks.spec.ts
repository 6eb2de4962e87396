// The sheet by day, by night and on a phone. Screenshots go to test-results, to be looked at.

import { expect, test, verdict } from "./program.ts";
import type { Page } from "@playwright/test";

/** Contrast of two colours, by WCAG 2.1, "relative luminance" and "contrast ratio". */
function contrast(a: string, b: string): number {
  const luminance = (hex: string): number => {
    const [r, g, bl] = [1, 3, 5].map((i) => {
      const c = parseInt(hex.slice(i, i + 2), 16) / 255;
      return c <= 0.03928 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * r! + 0.7152 * g! + 0.0722 * bl!;
  };
  const [hi, lo] = [luminance(a), luminance(b)].sort((x, y) => y - x);
  return (hi! + 0.05) / (lo! + 0.05);
}

async function inks(page: Page): Promise<Record<string, string>> {
  return page.evaluate(() => {
    const style = getComputedStyle(document.documentElement);
    return Object.fromEntries(["paper", "board", "ink", "faint", "need", "fail", "good", "stale"].map((n) => [n, style.getPropertyValue(`--${n}`).trim()]));
  });
}

test("contrast of black on white is 21", () => {
  expect(contrast("#000000", "#ffffff")).toBeCloseTo(21, 5);
});

for (const scheme of ["light", "dark"] as const) {
  test(`what is written can be read, ${scheme}`, async ({ table }, info) => {
    const { page, complaints } = table;
    await page.emulateMedia({ colorScheme: scheme });
    const c = await inks(page);
    for (const name of ["ink", "faint", "need", "fail", "good"]) expect(contrast(c[name]!, c["paper"]!), `${name} on paper`).toBeGreaterThanOrEqual(4.5);
    expect(contrast(c["ink"]!, c["board"]!)).toBeGreaterThanOrEqual(4.5);
    await verdict(page, "fails");
    await page.keyboard.press("l");
    await verdict(page, "holds");
    for (const [name, keys] of [["model", "1"], ["below", "b"], ["faint", "1g"], ["exploded", "ge"], ["cut", "ex"], ["plan", "p"]] as const) {
      for (const key of keys) await page.keyboard.press(key);
      await page.waitForTimeout(300);
      await page.screenshot({ path: info.outputPath(`${scheme}-${name}.png`) });
    }
    expect(complaints).toEqual([]);
  });
}

test.describe("on a phone", () => {
  test.use({ viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true });
  test("nothing stands out beyond the sheet, and the notes are a drawer", async ({ table }, info) => {
    const { page } = table;
    await verdict(page, "fails");
    const wide = await page.evaluate(() => document.documentElement.scrollWidth);
    expect(wide).toBeLessThanOrEqual(390);
    await expect(page.locator(".page")).toBeHidden();
    await page.getByRole("tab", { name: /Findings/ }).tap();
    await expect(page.locator(".page")).toBeVisible();
    await page.screenshot({ path: info.outputPath("phone-drawer.png") });
    await page.getByRole("button", { name: /ledge/ }).tap();
    await expect(page.locator(".page")).toBeHidden();
    await expect(page.locator(".note [data-held]")).toHaveAttribute("data-held", "false");
    const note = (await page.locator(".note").boundingBox())!;
    expect(note.x).toBeGreaterThanOrEqual(0);
    expect(note.x + note.width).toBeLessThanOrEqual(390);
    await page.screenshot({ path: info.outputPath("phone-note.png") });
  });
});
