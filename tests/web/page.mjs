// Open the page of sessions in a browser, use it, and say as JSON what was seen: what it says, what went wrong, and what
// a checker of accessibility finds. Arguments: address, browser, folder for pictures.
import { createRequire } from "node:module";
import path from "node:path";
const [address, browserPath, tools, pictures] = process.argv.slice(2);
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
  ["phone-light", 390, 844, "light"], ["phone-dark", 390, 844, "dark"],
]) {
  const context = await browser.newContext({ viewport: { width, height }, colorScheme, bypassCSP: true });
  const page = await context.newPage();
  const wrong = [], asked = new Set();
  page.on("console", (message) => { if (message.type() === "error") wrong.push(message.text()); });
  page.on("pageerror", (error) => wrong.push(String(error)));
  page.on("request", (request) => asked.add(new URL(request.url()).origin));
  await page.goto(address, { waitUntil: "load" });
  await page.waitForSelector("#curve svg", { timeout: 60000 });
  const listed = await page.locator("#sessions button").count();
  await page.locator("#sessions button").nth(1).click();
  await page.waitForFunction(() => document.querySelectorAll("#sessions button")[1].getAttribute("aria-current") === "true");
  await page.waitForSelector("#curve svg polyline", { timeout: 60000 });
  const said = await page.locator("#said").textContent();
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  const letters = await page.evaluate(() => Math.min(...[...document.querySelectorAll("#curve text")].map(
    (one) => Number.parseFloat(getComputedStyle(one).fontSize) * one.getScreenCTM().a)));
  await page.addScriptTag({ path: checker });
  const { violations } = await page.evaluate(() => window.axe.run());
  const hazards = await page.locator("#hazards li").count();
  const repeated = await page.evaluate(() => {
    const above = new Set([...document.querySelectorAll("#hazards li span:last-child")].map((one) => one.textContent));
    return [...document.querySelectorAll("#reasons li")].map((one) => one.textContent).filter((text) => above.has(text));
  });
  const reasons = await page.locator("#reasons li").count();
  const when = await page.locator("#when").textContent();
  const verdicts = await page.locator("#verdicts").textContent();
  const marks = await page.locator("#mark option").allTextContents();
  await page.screenshot({ path: path.join(pictures, `${name}.png`), fullPage: true });
  seen.push({
    name, listed, said, when, hazards, marks, wide, letters, reasons, verdicts, repeated, wrong, asked: [...asked],
    violations: violations.map((one) => `${one.id}: ${one.nodes.map((node) => node.target.join(" ")).join(", ")}`),
  });
  await context.close();
}
await browser.close();
console.log(JSON.stringify(seen));
