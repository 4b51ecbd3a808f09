import { chromium } from "playwright-core";
const [,, file, out] = process.argv;
const browser = await chromium.launch({ executablePath: "/usr/bin/chromium", args: ["--no-sandbox"] });
const errors = [];
for (const [name, opts] of [["light", { colorScheme: "light", viewport: { width: 1280, height: 900 } }], ["dark", { colorScheme: "dark", viewport: { width: 1280, height: 900 } }], ["narrow", { colorScheme: "light", viewport: { width: 390, height: 800 } }]]) {
  const page = await (await browser.newContext(opts)).newPage();
  page.on("console", (m) => errors.push(m.text())); page.on("pageerror", (e) => errors.push(String(e)));
  await page.goto("file://" + file);
  await page.screenshot({ path: `${out}/${name}.png`, fullPage: true });
  const h = await page.evaluate(() => document.documentElement.scrollHeight);
  console.log(name, h);
  const panel = page.locator("[data-panel='1']");
  if (await panel.count()) await panel.screenshot({ path: `${out}/${name}-panel.png` });
  const gaps = page.locator("section[aria-labelledby=clearances]");
  if (await gaps.count()) await gaps.screenshot({ path: `${out}/${name}-gaps.png` });
  const ranking = page.locator("section[aria-labelledby=ranking]");
  if (await ranking.count()) await ranking.screenshot({ path: `${out}/${name}-ranking.png` });
  if (name === "light") await page.pdf({ path: `${out}/a4.pdf`, format: "A4", margin: { top: "12mm", bottom: "12mm", left: "12mm", right: "12mm" } });
}
console.log(errors);
await browser.close();
