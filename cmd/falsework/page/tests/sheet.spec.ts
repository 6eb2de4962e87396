// Sheets, on a part whose only need is a ring ceiling round a hole.

import { readFileSync } from "node:fs";
import { expect, test, verdict } from "./program.ts";

test.use({ partName: "bearing-block" });

test("a sheet closes the hole of the bearing block where a bridge reaches across, and is refused where none does", async ({ table }) => {
  const { page, plan, complaints } = table;
  await verdict(page, "fails");
  const add = async (what: string): Promise<void> => {
    await page.getByRole("tab", { name: /Findings/ }).click();
    await page.getByRole("button", { name: /ring ceiling/ }).first().click();
    await page.locator(".note").getByRole("button", { name: what }).click();
  };
  // The pocket is 22 mm wide, and a bridge of 10 mm holds.
  await add("Sheet");
  await expect(page.locator(".message")).toContainText("needs a bridge of 22");
  await expect(page.locator(".revision b")).toHaveText("1");

  await page.getByRole("tab", { name: "Particulars" }).click();
  const bridge = page.locator(".measure", { hasText: "longest bridge" }).locator("input");
  await bridge.fill("26");
  await bridge.press("Enter");
  await expect(page.locator(".revision b")).toHaveText("2");
  await page.keyboard.press("Escape");
  await add("Sheet");
  await page.getByRole("tab", { name: "Schedule" }).click();
  const row = page.locator(".row.sheet");
  await expect(row).toContainText("S1");
  await expect(row).toContainText("◆");
  await verdict(page, "holds");

  await page.keyboard.press("Control+z");
  await expect(row).toHaveCount(0);
  await verdict(page, "fails");
  await page.keyboard.press("Control+y");
  await verdict(page, "holds");
  await page.keyboard.press("Control+s");
  await expect(page.locator(".message")).toContainText("Saved");
  expect(readFileSync(plan, "utf8")).toMatch(/sheets:\s+- id: S1/);
  // The browser tells of the wish that was refused, and of nothing else.
  expect(complaints.filter((c) => !c.includes("422"))).toEqual([]);
});
