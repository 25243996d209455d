// Open a month sheet in a browser, on a desk and a phone, light and dark, and say as JSON what was seen: how wide it is,
// what it asked for, what went wrong, what a checker of accessibility finds; and print sheets, and say how many pages of
// A4 each takes. Arguments: browser, folder of the tools, folder for pictures, addresses of sheets, the first looked at.
import { createRequire } from "node:module";
import { writeFileSync } from "node:fs";
import path from "node:path";
const [browserPath, tools, pictures, ...addresses] = process.argv.slice(2);
const address = addresses[0];
const load = createRequire(path.join(tools, "package.json"));
const { chromium } = load("playwright-core");
const checker = load.resolve("axe-core/axe.min.js");
const browser = await chromium.launch({
  executablePath: browserPath,
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync"],
});
const seen = [];
for (const [name, width, height, colorScheme] of [
  ["desktop-light", 1280, 900, "light"], ["desktop-dark", 1280, 900, "dark"],
  ["phone-light", 360, 740, "light"], ["phone-dark", 360, 740, "dark"],
]) {
  // With its policy, to see that nothing of it is refused.
  const strict = await browser.newContext({ viewport: { width, height }, colorScheme });
  const page = await strict.newPage();
  const wrong = [], asked = [];
  page.on("console", (message) => { if (message.type() === "error") wrong.push(message.text()); });
  page.on("pageerror", (error) => wrong.push(String(error)));
  page.on("request", (request) => asked.push(request.url()));
  await page.goto(address, { waitUntil: "load" });
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  const ground = await page.evaluate(() => getComputedStyle(document.body).backgroundColor);
  await page.screenshot({ path: path.join(pictures, `${name}.png`), fullPage: true });
  await strict.close();
  const open = await browser.newContext({ viewport: { width, height }, colorScheme, bypassCSP: true });
  const checked = await open.newPage();
  await checked.goto(address, { waitUntil: "load" });
  await checked.addScriptTag({ path: checker });
  const { violations } = await checked.evaluate(() => window.axe.run());
  seen.push({
    name, wide, ground, wrong, asked,
    violations: violations.map((one) => `${one.id}: ${one.nodes.map((node) => node.target.join(" ")).join(", ")}`),
  });
  await open.close();
}
// Printed from a dark screen, without grounds, as browsers print unless told otherwise.
const paper = await browser.newContext({ colorScheme: "dark" });
const page = await paper.newPage(), pages = [];
for (const [number, one] of addresses.entries()) {
  await page.goto(one, { waitUntil: "load" });
  const made = await page.pdf({ preferCSSPageSize: true, printBackground: false });
  writeFileSync(path.join(pictures, `print-${number}.pdf`), made);
  pages.push(made.toString("latin1").match(/\/Type\s*\/Page[^s]/g).length);
}
await browser.close();
console.log(JSON.stringify({ seen, pages }));
