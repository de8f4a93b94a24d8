// Measuring in photos on the page, at a phone's size: rendered photos of the scale sheet and of a card are sent, tapped and
// measured; the value in the record is compared with what is true. Arguments: address, folder, truth.jsonl, photos, output, tools.
import { createRequire } from "node:module";
import { readFileSync, mkdirSync } from "node:fs";
import { join } from "node:path";
import assert from "node:assert/strict";

const [address, folder, truths, photos, output, tools] = process.argv.slice(2);
const require = createRequire(join(tools, "node_modules", "/"));
const { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
mkdirSync(output, { recursive: true });
const record = () => readFileSync(join(folder, "inspection.toml"), "utf8");

const browser = await chromium.launch({ executablePath: "/usr/bin/chromium", args: ["--no-sandbox"] });
const context = await browser.newContext({ viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true });
await context.addInitScript(() => localStorage.setItem("first", "over"));
const page = await context.newPage();
const errors = [];
page.on("pageerror", (error) => errors.push(String(error)));
page.on("console", (message) => { if (message.type() === "error") errors.push(message.text()); });
await page.goto(address);
await page.waitForSelector("#card h2");
const key = await page.evaluate(() => state.questions.find((one) => one.measures && one.key.endsWith("@bar")).key);
const range = (pair) => `${pair[0].toFixed(3)} to ${pair[1].toFixed(3)} mm`;

for (const [index, truth] of readFileSync(truths, "utf8").trim().split("\n").map((line) => JSON.parse(line)).entries()) {
  await page.evaluate((key) => go(key), key);
  const had = await page.evaluate((key) => question(key).part_photos.length, key);
  await page.setInputFiles("#photo", join(photos, `${truth.name}.jpg`));
  await page.waitForFunction(([key, had]) => question(key).part_photos.length > had && !waitingPhotos.length, [key, had], { timeout: 60000 });
  await page.locator("#card").getByRole("button", { name: /^Measure in / }).last().tap();
  await page.waitForFunction(() => measuring && measuring.size && document.getElementById("measure-picture").naturalWidth, null, { timeout: 60000 });
  const size = await page.evaluate(() => measuring.size);
  if (index === 0) await page.screenshot({ path: join(output, "measure-1-open.png") });
  if (truth.card) await page.selectOption("#measure-by", "card");
  await page.selectOption("#measure-what", truth.measure);
  // As fingers do it: roughly in the whole picture, then exactly in the enlarged part.
  const all = [...(truth.card || []), ...truth.taps];
  for (const [number, [x, y]] of all.entries()) {
    const whole = await page.locator("#measure-picture").boundingBox();
    const rough = [[x, whole.width, size[0]], [y, whole.height, size[1]]].map(([at, wide, full]) => Math.min(Math.max(((at + 0.5) / full) * wide, 1), wide - 1));
    await page.locator("#measure-picture").tap({ position: { x: rough[0], y: rough[1] } });
    await page.waitForFunction(() => !document.getElementById("measure-near").hidden);
    const at = await page.evaluate(([x, y]) => {
      const { start, by } = near();
      return [(x - start[0]) * by, (y - start[1]) * by].map((side) => side / devicePixelRatio);
    }, [x, y]);
    await page.locator("#measure-near").tap({ position: { x: at[0], y: at[1] } });
    assert.equal(await page.evaluate(() => exact().length), number + 1);
  }
  await page.fill("#measure-height", range(truth.height));
  if (!truth.card && index === 0) {
    // Without the rulers the print may have been shrunk to the page: the interval says so.
    await page.waitForFunction(() => measuring.told && measuring.told.value, null, { timeout: 60000 });
    const [value, half] = (await page.textContent("#measure-value")).match(/[\d.]+/g).map(Number);
    assert.ok(half > 0.06 * value, `the scale of the print is not known: ${value} ± ${half} mm`);
    await page.locator("#measure-dialog details summary").first().tap();
    await page.fill("#measure-across", "130 mm ± 0.1 mm");
    await page.fill("#measure-down", "220 mm ± 0.1 mm");
  }
  await page.waitForFunction(() => measuring.told && measuring.told.value && !document.getElementById("measure-save").disabled, null, { timeout: 60000 });
  const told = await page.textContent("#measure-value");
  if (index === 0) {
    await page.locator("#measure-more summary").tap();
    await page.screenshot({ path: join(output, "measure-2-told.png") });
    await page.locator("#measure-dialog").screenshot({ path: join(output, "measure-3-all.png") });
    await page.evaluate(axe);
    const { violations } = await page.evaluate(() => axe.run("#measure-dialog"));
    assert.deepEqual(violations.map(({ id, nodes }) => `${id}: ${nodes.map((node) => node.html).join(" ")}`), []);
    const wide = await page.evaluate(() => document.getElementById("measure-dialog").scrollWidth - innerWidth);
    assert.ok(wide <= 0, `${wide} px wider than the screen`);
    const small = await page.evaluate(() => [...document.querySelectorAll("#measure-dialog button, #measure-dialog select, #measure-dialog summary, #measure-dialog input")]
      .filter((one) => one.offsetParent).map((one) => one.getBoundingClientRect()).filter(({ height, width }) => height < 48 || width < 48).length);
    assert.equal(small, 0, "targets below 48 px");
    // The arrow keys move a point by a pixel, and back.
    const before = await page.evaluate(() => current().at);
    await page.focus("#measure-near");
    for (const way of ["ArrowRight", "ArrowLeft"]) await page.keyboard.press(way);
    assert.deepEqual(await page.evaluate(() => current().at), before);
    await page.waitForFunction((told) => measuring.told && measuring.told.value === told, told, { timeout: 60000 });
  }
  const [value, half] = told.match(/[\d.]+/g).map(Number);
  const off = Math.abs(value - truth.truth);
  console.log(`${truth.name} ${truth.kind}, ${truth.measure}: ${told}, true ${truth.truth.toFixed(3)} mm`);
  assert.ok(off <= half + 0.06, `${told} does not hold ${truth.truth}`);
  assert.ok(half < 0.1 * value, `${told} is too wide to be of use here`);
  await page.locator("#measure-save").tap();
  await page.waitForFunction(() => !waiting().length && !problems().length, null, { timeout: 60000 });
  await page.waitForFunction(([key, told]) => question(key).now.includes(told), [key, told], { timeout: 60000 });
  const kept = record();
  for (const expected of [`value = "${told}"`, "[[photo.measurement]]", `measure = "${truth.measure}"`, `reference = "${truth.card ? "card" : "sheet"}"`]) {
    assert.ok(kept.includes(expected), `${expected} in\n${kept}`);
  }
}
assert.deepEqual(errors, []);
await browser.close();
