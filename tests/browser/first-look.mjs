// The first look tapped at a phone's size: every question as it is asked, its effort by the table of looks.toml added up, the
// slowest answer, and the screens in light, dark, landscape and with letters twice as large. Arguments: program, folder of an
// empty record, answers.json, output, name of the pack.
import { spawn } from "node:child_process";
import { readFileSync, mkdirSync } from "node:fs";
import { join } from "node:path";
import assert from "node:assert/strict";
import { launch, tool } from "./lib/tools.mjs";

const [program, folder, answersFile, output, name] = process.argv.slice(2);
const axe = tool("axe-core").source;
mkdirSync(output, { recursive: true });
const answers = JSON.parse(readFileSync(answersFile, "utf8"));
const server = spawn(program, ["fill", folder, "--page", "--port", "0"], { stdio: ["ignore", "pipe", "inherit"] });
process.on("exit", () => server.kill("SIGKILL"));
const address = await new Promise((resolve) => {
  let shown = "";
  server.stdout.on("data", (data) => { shown += data; const found = shown.match(/http:\/\/[^:]+:(\d+)/); if (found && shown.includes("Ctrl-C")) resolve(`http://127.0.0.1:${found[1]}/`); });
});
const browser = await launch();
const page = await (await browser.newContext({ viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true })).newPage();
const errors = [];
page.on("pageerror", (error) => errors.push(String(error)));
let slowest = 0;
page.on("requestfinished", async (request) => {
  if (new URL(request.url()).pathname !== "/api/op") return;
  const { requestStart, responseEnd } = request.timing();
  slowest = Math.max(slowest, responseEnd - requestStart);
});
await page.goto(address);
await page.waitForSelector("#card h2");
const key = () => page.getAttribute("#card", "data-key");

async function check(what) {
  await page.evaluate(axe);
  const { violations } = await page.evaluate(() => axe.run());
  const grave = violations.filter(({ impact }) => impact === "serious" || impact === "critical");
  assert.deepEqual(grave.map(({ id, nodes }) => `${what}: ${id}: ${nodes.map((node) => node.html).join(" ")}`), []);
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
  assert.ok(wide <= 0, `${what}: ${wide} px wider than the screen`);
}

// The screens as they are, then the phone turned, in the dark, and with letters twice as large.
async function screens(what) {
  const shot = (how) => page.screenshot({ path: join(output, `first-look-${what}-${how}.png`) });
  await shot("light");
  await check(what);
  await page.emulateMedia({ colorScheme: "dark" });
  await check(`${what}, dark`);
  await shot("dark");
  await page.emulateMedia({ colorScheme: "light" });
  await page.setViewportSize({ width: 844, height: 390 });
  await check(`${what}, landscape`);
  // What is asked, where it is typed and Save are seen together without scrolling.
  await page.evaluate(() => window.scrollTo(0, 0));
  const below = await page.evaluate(() => ["#card h2", "#value", "#card .main"].map((one) => document.querySelector(one)).filter((one) => one && one.getBoundingClientRect().bottom > innerHeight).map((one) => one.outerHTML));
  if (what === "question") assert.deepEqual(below, [], `${what}, landscape: below the screen`);
  await shot("landscape");
  await page.setViewportSize({ width: 390, height: 844 });
  await page.evaluate(() => { document.documentElement.style.fontSize = "225%"; });
  await check(`${what}, 200 % text`);
  await shot("large");
  await page.evaluate(() => { document.documentElement.style.fontSize = ""; });
  // What pictures and checks leave to do on the same cores is no part of the next answer.
  await page.waitForTimeout(1000);
}

let effort = 0;
let settled = 0;
let before = "";
let answered = 0;
let left = 0;
const taken = new Set();
for (let step = 0; step < 80; step += 1) {
  await page.waitForFunction(() => waiting().length === 0 && !then);
  const ask = await page.evaluate(() => { const one = firstAsk(); return one ? { ...one, part: one.key.split("@")[1] || question(one.key).section, shown: at } : null; });
  const now = JSON.stringify(await page.evaluate(() => state.headlines.map((one) => one.settled)));
  if (now !== before) [before, settled] = [now, effort];
  if (!ask) break;
  assert.equal(ask.shown, ask.key, "what is asked is what is shown");
  // What nobody could see is left open.
  const wanted = answers[ask.key]?.value === "could not see" ? undefined : answers[ask.key];
  // Further readings at one place with one instrument are taken together; that something is not there is seen.
  const again = `${ask.part} ${ask.effort}`;
  if (!wanted && ask.effort !== "papers") effort += 5;
  else { effort += taken.has(again) ? Math.min(10, ask.time_s) : ask.time_s; taken.add(again); }
  if (step === 3) await screens("question");
  if (!wanted) {
    left += 1;
    await page.locator("#skip").tap();
    await page.waitForFunction((before) => document.getElementById("card").dataset.key !== before, ask.key);
    continue;
  }
  const field = page.locator("#value");
  if (await field.count()) {
    await field.fill(wanted.value);
    await page.locator("#card .main").tap();
  } else {
    const word = wanted.value.replace(/[.*+?^${}()|[\]\\]/g, "\\$&");
    await page.locator("#card .choices button, #card .two button").filter({ hasText: new RegExp(`^${word}`) }).first().tap();
  }
  answered += 1;
  await page.waitForFunction((before) => !isOpen(question(before)) || problems().length > 0, ask.key);
  assert.equal(await page.evaluate(() => problems().length), 0, `${ask.key}: ${await page.textContent("#problems")}`);
}
await page.waitForFunction(() => !firstOn());
const told = await page.evaluate(() => state.headlines.map((one) => one.line));
assert.equal(told.length, 3);
await page.locator("#first summary").scrollIntoViewIfNeeded();
await screens("over");
await page.locator("#show-findings").tap();
await page.waitForFunction(() => document.querySelectorAll("#next li").length > 0, null, { timeout: 60000 });
await screens("findings");
console.log(`${name}: ${answered} answers tapped, ${left} left open, ${(effort / 60).toFixed(1)} min by table (as far as it gets after ${(settled / 60).toFixed(1)} min), slowest answer ${Math.round(slowest)} ms\n  ${told.join("\n  ")}`);
assert.ok(settled <= 15 * 60, `${settled} s until the headline questions were as far as looking gets them`);
assert.ok(effort <= 20 * 60, `${effort} s`);
assert.deepEqual(errors, []);
await browser.close();
process.exit(0);
