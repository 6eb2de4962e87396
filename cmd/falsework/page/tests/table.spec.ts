// A designer's hour at the table, on the program itself.

import { readFileSync } from "node:fs";
import path from "node:path";
import { bake, expect, test, unzip, verdict } from "./program.ts";

test("the bracket is laid out, edited, saved and baked, the same as by the command line", async ({ table }) => {
  const { page, plan, part, folder, complaints } = table;

  // It opens with its need: the shelf's underside, less what rests on the wall.
  await expect(page.locator(".title .name")).toContainText("56 × 46 × 60 mm");
  await verdict(page, "fails");
  await page.getByRole("tab", { name: /Findings/ }).click();
  await expect(page.locator(".findings")).toContainText("ledge");

  await page.keyboard.press("l");
  await verdict(page, "holds");
  await page.getByRole("tab", { name: "Schedule" }).click();
  const rows = page.getByRole("option");
  const drawn = await rows.count();
  expect(drawn).toBeGreaterThan(3);

  // Without the contact along x 37.3 the part is bare beside it.
  await page.locator("#row-L7").click();
  await expect(page.locator("#row-L7")).toHaveAttribute("aria-selected", "true");
  const x = /\((\d+\.?\d*),/.exec((await page.locator(".points").textContent()) ?? "")?.[1];
  await page.keyboard.press("Delete");
  await expect(page.locator("#row-L7")).toHaveCount(0);
  await verdict(page, "fails");
  await page.keyboard.press("n");
  await expect(page.locator(".findings .chosen")).toContainText("mid-air");
  const spot = /at x (\d+\.?\d*)/.exec((await page.locator(".findings .chosen").textContent()) ?? "")?.[1];
  expect(Math.abs(Number(spot) - Number(x))).toBeLessThan(6.3); // no further than the next contact
  await expect(page.locator(".note [data-held]")).toHaveAttribute("data-held", "false");
  await page.keyboard.press("Escape");

  await page.keyboard.press("Control+z");
  await expect(page.locator(".revision b")).not.toHaveText("3");
  await verdict(page, "holds");
  await page.getByRole("tab", { name: "Schedule" }).click();
  await expect(rows).toHaveCount(drawn);

  // A post of the designer's own, drawn in plan and dragged by 3 mm.
  await page.getByRole("button", { name: "plan at z" }).click();
  const sheet = page.locator(".layer");
  const box = (await sheet.boundingBox())!;
  await sheet.click({ position: { x: box.width / 2 + 31, y: box.height / 2 - 61 } });
  await expect(page.locator(".note b")).toHaveText(/Held|Not held/);
  await page.locator(".note").getByRole("button", { name: "Post" }).click();
  const post = page.locator(".row.post").last();
  await expect(post).toContainText("◆");
  const id = (await post.getAttribute("id"))!.replace("row-", "");
  await post.click();
  const fieldX = page.locator(".measure", { hasText: /^x/ }).locator("input");
  const before = Number(await fieldX.inputValue());
  const mark = page.locator("rect.post.chosen");
  const at = (await mark.boundingBox())!;
  const scale = at.width / Number(await mark.getAttribute("width"));
  await page.mouse.move(at.x + at.width / 2, at.y + at.height / 2);
  await page.mouse.down();
  await page.mouse.move(at.x + at.width / 2 + 1.5 * scale, at.y + at.height / 2, { steps: 4 });
  await page.mouse.move(at.x + at.width / 2 + 3 * scale, at.y + at.height / 2, { steps: 4 });
  await expect(page.locator(".tag", { hasText: "Δ 3, 0" })).toBeVisible();
  await page.mouse.up();
  await expect(page.locator(`#row-${id}`)).toBeVisible();
  await expect.poll(async () => Number(await fieldX.inputValue())).toBeCloseTo(before + 3, 2);
  await expect(page.locator("[data-verdict]")).toHaveAttribute("data-verdict", /holds|fails/);

  // What is saved is what is baked, here as by the command.
  await page.getByRole("button", { name: "plan at z" }).click();
  await page.keyboard.press("Control+s");
  await expect(page.locator(".message")).toContainText("Saved");
  await expect(page.locator(".revision")).toContainText("saved");
  await expect(page.locator(".revision")).not.toContainText("not saved");
  expect(readFileSync(plan, "utf8")).toContain(`id: ${id}`);

  const said = (await page.locator("[data-verdict]").getAttribute("data-verdict"))!;
  const download = page.waitForEvent("download");
  await page.getByRole("button", { name: "Bake" }).click();
  const file = await (await download).path();
  const ours = unzip(readFileSync(file));
  const theirs = bake(part, plan, path.join(folder, "out"));
  expect(theirs.verdict).toBe(said);
  expect([...ours.keys()].sort()).toEqual([...theirs.files.keys()].sort());
  for (const [name, data] of theirs.files) expect(ours.get(name)?.equals(data), `${name} is the same`).toBe(true);
  expect(complaints).toEqual([]);
});

test("a face that is to stay clean gets no contact, and the rest is laid out round it", async ({ table }) => {
  const { page } = table;
  await verdict(page, "fails");
  const markNeed = async (wish: string): Promise<void> => {
    await page.getByRole("tab", { name: /Findings/ }).click();
    await page.getByRole("button", { name: /ledge/ }).click();
    await page.getByRole("button", { name: wish }).click();
    await page.getByRole("tab", { name: "Schedule" }).click();
  };
  await markNeed("Keep this face clean");
  await expect(page.locator(".row.zone")).toContainText("keep clean");
  await expect(page.locator(".marks .zone")).toHaveCount(1);
  await page.keyboard.press("l");
  await expect(page.locator(".message")).toContainText("Z1");
  await verdict(page, "fails");
  await expect(page.locator(".row.line")).toHaveCount(0);

  // Taken off there and put on the front of the back plate, nothing is in its way.
  await page.locator(".row.zone").click();
  await page.keyboard.press("Delete");
  await expect(page.locator(".row.zone")).toHaveCount(0);
  await page.keyboard.press("1");
  const view = page.locator(".view");
  const box = (await view.boundingBox())!;
  await view.click({ position: { x: box.width / 2 + 90, y: box.height / 2 - 150 } });
  await expect(page.locator(".note [data-held]")).toHaveAttribute("data-held", "true");
  await page.getByRole("button", { name: "Keep this face clean" }).click();
  await expect(page.locator(".row.zone")).toHaveCount(1);
  await page.keyboard.press("Escape");
  await page.keyboard.press("l");
  await verdict(page, "holds");
});

test("keys and the hand on the model choose, move and pin what stands there", async ({ table }) => {
  const { page, complaints } = table;
  await verdict(page, "fails");
  await page.keyboard.press("l");
  await verdict(page, "holds");

  // From below the middle of the sheet lies on a support: it is chosen, then dragged.
  await page.keyboard.press("b");
  const view = page.locator(".view");
  const box = (await view.boundingBox())!;
  const spot = { x: box.x + box.width / 2 + 6, y: box.y + box.height / 2 + 40 };
  await page.mouse.click(spot.x, spot.y);
  const chosen = page.locator('.row[aria-selected="true"]');
  await expect(chosen).toHaveCount(1);
  await expect(chosen).toContainText("◇");
  await page.mouse.move(spot.x, spot.y);
  await page.mouse.down();
  await page.mouse.move(spot.x + 20, spot.y, { steps: 4 });
  await expect(page.locator(".marks .ghost")).toBeVisible();
  await page.mouse.up();
  await expect(chosen).toContainText("◆");
  await page.keyboard.press("Control+z");
  await expect(chosen).toContainText("◇");

  // The same without a mouse.
  await page.keyboard.press("t");
  const list = page.getByRole("listbox");
  await expect(list).toBeFocused();
  await page.keyboard.press("Home");
  await page.keyboard.press("ArrowDown");
  await expect(page.locator("#row-L1")).toHaveAttribute("aria-selected", "true");
  await expect(list).toHaveAttribute("aria-activedescendant", "row-L1");
  await page.keyboard.press("k");
  await expect(page.locator("#row-L1")).toContainText("◆");
  await page.keyboard.press("Shift+ArrowRight");
  await expect(page.locator(".points")).toContainText("(56.8, 6.5, 30)");
  await page.keyboard.press("v");
  await expect(view).toBeFocused();
  await expect(page.locator(".marks .reticle")).toBeVisible();
  await page.keyboard.press("1");
  await page.keyboard.press("q");
  await expect(page.locator(".note [data-held]")).toHaveAttribute("data-held", /true|false/);
  await page.keyboard.press("?");
  await expect(page.getByRole("dialog")).toBeVisible();
  await page.keyboard.press("Escape");
  await expect(page.getByRole("dialog")).toHaveCount(0);
  expect(complaints).toEqual([]);
});

test("a second window sees what the first one does, and what cannot be is refused", async ({ table, context }) => {
  const { page, url } = table;
  await verdict(page, "fails");
  expect(page.url()).not.toContain("token");
  const other = await context.newPage();
  await other.goto(url);
  await verdict(other, "fails");
  await page.getByRole("tab", { name: "Particulars" }).click();
  const bridge = page.locator(".measure", { hasText: "longest bridge" }).locator("input");
  await bridge.fill("-4");
  await bridge.press("Enter");
  await expect(page.locator(".message")).not.toBeEmpty();
  await expect(page.locator(".revision b")).toHaveText("1");
  await bridge.fill("9");
  await bridge.press("Enter");
  await expect(page.locator(".revision b")).toHaveText("2");
  await expect(other.locator(".revision b")).toHaveText("2");
  await verdict(other, "fails");
  await other.keyboard.press("Control+z");
  await expect(page.locator(".revision b")).toHaveText("3");
  await expect(bridge).toHaveValue("10");
});
