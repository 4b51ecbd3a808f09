// Opens the report of a search, and the page of one layout, in headless Chromium from disk.
//
//   REPORT=run/report.html PAGE=layout.html node --test
//
// Contrast and the rest of WCAG 2.2 A and AA are judged by axe-core, independent of this project.

import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { createRequire } from "node:module";
import { resolve } from "node:path";
import { after, before, test } from "node:test";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const report = pathToFileURL(resolve(process.env.REPORT ?? "report.html")).href;
const single = pathToFileURL(resolve(process.env.PAGE ?? "layout.html")).href;
const axe = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

let browser;
before(async () => {
  browser = await chromium.launch({
    executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
    args: [
      "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
      "--disable-background-networking", "--disable-component-update", "--disable-sync",
    ],
  });
});
after(() => browser?.close());

// A page, and what it complained of or asked for beside itself.
const open = async (address, settings = {}) => {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...settings });
  const page = await context.newPage();
  const complaints = [], requests = [];
  page.on("console", (message) => {
    if (["error", "warning"].includes(message.type())) complaints.push(message.text());
  });
  page.on("pageerror", (error) => complaints.push(String(error)));
  page.on("request", (request) => {
    if (request.url() !== address && !request.url().startsWith("data:")) requests.push(request.url());
  });
  await page.goto(address);
  return { page, complaints, requests, close: () => context.close() };
};

const link = (page) => page.locator("#figure-linkage .pose.now .link").first().getAttribute("d");

for (const [name, address] of [["report", report], ["page of one layout", single]]) {
  for (const colorScheme of ["light", "dark"]) {
    test(`the ${name} breaks no rule of WCAG A and AA, ${colorScheme}`, async () => {
      // Its own scripts off: axe-core is let in past the page's policy.
      const { page, close } = await open(address, { colorScheme, bypassCSP: true });
      await page.evaluate(axe);
      if (address === report) await page.locator("input[name=beside]").nth(2).check();
      const { violations, passes } = await page.evaluate(() =>
        globalThis.axe.run({ runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"] }));
      const told = violations.map(({ id, nodes }) => `${id}: ${nodes[0].html} (${nodes.length})`);
      assert.deepEqual(told, []);
      assert.ok(passes.some(({ id }) => id === "color-contrast"), "contrast was looked at");
      await close();
    });
  }

  test(`the ${name} complains of nothing and asks for nothing`, async () => {
    const { page, complaints, requests, close } = await open(address);
    await page.getByRole("button", { name: "End", exact: true }).click();
    await page.getByRole("button", { name: "Play", exact: true }).click();
    await page.waitForTimeout(500);
    assert.deepEqual(complaints, []);
    assert.deepEqual(requests, []);
    await close();
  });

  test(`the ${name} is whole without scripts, and on a narrow screen`, async () => {
    const viewport = { width: 360, height: 740 };
    const { page, close } = await open(address, { javaScriptEnabled: false, viewport });
    assert.ok(await page.locator("#figure-leverage-rate .shown .curve").first().isVisible());
    assert.match(await link(page), /^M[-\d.]+ [-\d.]+L/);
    assert.ok(await page.getByRole("heading", { name: "Definitions used" }).isVisible());
    assert.ok(await page.locator(".caution").first().isVisible());
    assert.equal(await page.getByRole("button", { name: "Play", exact: true }).count(), 0);
    await close();
    const scripted = await open(address, { viewport });
    const wider = await scripted.page.evaluate(() =>
      document.documentElement.scrollWidth - document.documentElement.clientWidth);
    assert.equal(wider, 0, "the page itself never scrolls sideways");
    await scripted.close();
  });
}

test("the slider moves linkage, numbers and the lines in the charts", async () => {
  const { page, close } = await open(report);
  const rate = page.locator("[data-quantity='2']");
  const cursor = page.locator("#figure-leverage-rate .cursor");
  const at = async () => [await link(page), await rate.textContent(), await cursor.getAttribute("transform")];
  const sag = await at();
  await page.getByRole("slider", { name: "Travel" }).focus();
  await page.keyboard.press("End");
  const end = await at();
  end.forEach((value, index) => assert.notEqual(value, sag[index]));
  assert.equal(await page.locator("[data-place]").textContent(), "end");
  assert.match(await page.getByRole("slider").getAttribute("aria-valuetext"), /mm of travel, 100 %/);
  await page.keyboard.press("Home");
  const drawn = page.locator("#figure-linkage .pose.top .link").first();
  assert.equal(await link(page), await drawn.getAttribute("d"), "at top it lies on the top pose");
  await page.getByRole("button", { name: "Sag", exact: true }).click();
  assert.deepEqual(await at(), sag);
  await close();
});

test("playing moves the linkage and ends where it stood", async () => {
  const { page, close } = await open(report);
  const before = await link(page);
  await page.getByRole("button", { name: "Play", exact: true }).click();
  await page.waitForFunction((text) =>
    document.querySelector("#figure-linkage .pose.now .link").getAttribute("d") !== text, before);
  await page.getByRole("button", { name: "Stop", exact: true }).click();
  assert.ok(await page.getByRole("button", { name: "Play", exact: true }).isVisible());
  await close();
});

test("a rank is selected, and another set beside it, by keyboard too", async () => {
  const { page, complaints, close } = await open(report);
  const before = await link(page);
  const first = page.getByRole("radio", { name: "look at layout 1", exact: true });
  await first.focus();
  await page.keyboard.press("ArrowDown");
  assert.ok(await page.getByRole("radio", { name: "look at layout 2", exact: true }).isChecked());
  assert.notEqual(await link(page), before);
  assert.deepEqual(
    await page.locator("#figure-anti-squat .shown").evaluateAll((all) => all.map((g) => g.dataset.layout)),
    ["2"]);
  assert.ok(await page.getByRole("heading", { name: "Targets of layout 2" }).isVisible());
  assert.ok(await page.getByRole("heading", { name: "Targets of layout 1", exact: true }).isHidden());
  await page.getByRole("radio", { name: "set layout 5 beside it" }).check();
  assert.match(await page.locator("#status").textContent(), /Layout 2 is shown, layout 5 dashed/);
  const other = page.locator("#figure-leverage-rate [data-layout='5'] .curve");
  assert.notEqual(await other.evaluate((line) => getComputedStyle(line).strokeDasharray), "none");
  assert.ok(await page.getByRole("columnheader", { name: "change" }).isVisible());
  const cell = (name) => page.locator(`[data-${name}='2']`).textContent().then((t) => Number(t.replace("−", "-")));
  const [one, two, change] = await Promise.all(["number", "number-beside", "number-change"].map(cell));
  assert.ok(Math.abs(two - one - change) < 2e-3);
  await page.getByRole("button", { name: "Set none beside it" }).click();
  assert.ok(await page.locator("#numbers-table .second").first().isHidden());
  assert.deepEqual(complaints, []);
  await close();
});

test("the ranking is sorted by a heading, both ways", async () => {
  const { page, close } = await open(report);
  const heading = page.locator("#ranking-table").getByRole("columnheader", { name: /^travel/ });
  const column = await heading.evaluate((th) => [...th.parentNode.children].indexOf(th));
  const keys = () => page.locator("#ranking-table tbody tr").evaluateAll((rows, column) =>
    rows.map((row) => Number(row.children[column].dataset.key)), column);
  await heading.getByRole("button").click();
  const rising = await keys();
  assert.deepEqual(rising, rising.toSorted((a, b) => a - b));
  assert.equal(await heading.getAttribute("aria-sort"), "ascending");
  await heading.getByRole("button").click();
  assert.deepEqual(await keys(), rising.toSorted((a, b) => b - a));
  await close();
});

test("it prints on A4 and on Letter with nothing cut off at the side", async () => {
  const { page, close } = await open(report);
  for (const format of ["A4", "Letter"]) {
    const pdf = await page.pdf({ format, margin: { top: "12mm", bottom: "12mm", left: "12mm", right: "12mm" } });
    assert.ok(pdf.length > 50_000);
  }
  // The width of A4 less the margins, at 96 px an inch.
  await page.emulateMedia({ media: "print" });
  await page.setViewportSize({ width: 703, height: 900 });
  const wider = await page.evaluate(() =>
    [...document.querySelectorAll("table, figure, p, h2, dl")]
      .filter((element) => element.getBoundingClientRect().right > innerWidth + 1)
      .map((element) => element.id || element.className || element.tagName));
  assert.deepEqual(wider, []);
  await close();
});

test("safe regions and frames as built are those of the layout that is selected", async () => {
  const { page, close } = await open(report);
  const regions = (rank) => page.locator(`[data-panel='${rank}'] svg.cell`);
  const points = await page.locator("#figure-linkage .pose.now .pivot").count();
  assert.equal(await regions(1).count(), points, "one for each point");
  for (const cell of await regions(1).all()) {
    assert.ok(await cell.isVisible());
    assert.match(await cell.getAttribute("aria-label"), /Nearest edge [\d.]+ mm away at \d+ degrees/);
    assert.match(await cell.locator(".name").textContent(), /^[\d.]+ mm$/);
  }
  const yields = (rank) => page.locator(`[data-panel='${rank}']`).getByText(/of frames are in all bands/);
  assert.match(await yields(1).textContent(), /^[\d.]+ % of frames are in all bands \([\d.]+ to [\d.]+ % with 95 %/);
  assert.ok(await regions(3).first().isHidden());
  await page.getByRole("radio", { name: "look at layout 3" }).check();
  assert.ok(await regions(3).first().isVisible());
  assert.ok(await yields(3).isVisible());
  assert.ok(await regions(1).first().isHidden());
  await page.getByRole("radio", { name: "set layout 1 beside it", exact: true }).check();
  assert.ok(await regions(1).first().isVisible(), "both side by side");
  await close();
});

test("clearances follow the selection and the slider", async () => {
  const { page, complaints, close } = await open(report);
  const charts = page.locator(".gaps figure");
  assert.ok(await charts.count() >= 6);
  const shown = () => charts.first().locator(".shown").evaluateAll((all) => all.map((g) => g.dataset.layout));
  assert.deepEqual(await shown(), ["1"]);
  await page.getByRole("radio", { name: "look at layout 2", exact: true }).check();
  assert.deepEqual(await shown(), ["2"]);
  const cursor = charts.last().locator(".cursor");
  const before = await cursor.getAttribute("transform");
  await page.getByRole("button", { name: "End", exact: true }).click();
  assert.notEqual(await cursor.getAttribute("transform"), before);
  assert.ok(await charts.first().locator(".wanted").isVisible(), "the wanted minimum is drawn");
  assert.deepEqual(complaints, []);
  await close();
});
