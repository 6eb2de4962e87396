// Draws the README's picture of the table: a spot that a deleted contact left bare.

import { test, verdict } from "./program.ts";

test("picture", async ({ table }) => {
  const { page } = table;
  await verdict(page, "fails");
  await page.keyboard.press("l");
  await verdict(page, "holds");
  await page.locator("#row-L7").click();
  await page.keyboard.press("Delete");
  await verdict(page, "fails");
  await page.keyboard.press("b");
  await page.keyboard.press("n");
  await page.getByRole("tab", { name: "Schedule" }).click();
  await page.locator(".note [data-held=false]").waitFor();
  await page.locator(".cost:not(.stale)").waitFor();
  await page.screenshot({ path: process.env["FALSEWORK_PICTURE"]! });
});
