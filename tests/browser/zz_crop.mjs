import { chromium } from "playwright-core";
const [,, file, out, selector, scheme = "light", width = "1280", media] = process.argv;
const browser = await chromium.launch({ executablePath: "/usr/bin/chromium", args: ["--no-sandbox"] });
const page = await (await browser.newContext({ colorScheme: scheme, viewport: { width: +width, height: 900 } })).newPage();
if (media) await page.emulateMedia({ media });
await page.goto("file://" + file);
let i = 0;
for (const s of selector.split("|")) await page.locator(s).first().screenshot({ path: `${out}-${i++}.png` });
await browser.close();
