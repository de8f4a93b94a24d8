// Measuring in photos on the page, at a phone's size: rendered photos of the scale sheet and of a card are sent, tapped and
// measured; the value in the record is compared with what is true. Arguments: address, folder, truth.jsonl, photos, output.
import { readFileSync, mkdirSync } from "node:fs";
import { join } from "node:path";
import assert from "node:assert/strict";
import { launch, tool } from "./lib/tools.mjs";

const [address, folder, truths, photos, output] = process.argv.slice(2);
const axe = tool("axe-core").source;
mkdirSync(output, { recursive: true });
const record = () => readFileSync(join(folder, "inspection.toml"), "utf8");

const browser = await launch();
const context = await browser.newContext({ viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true });
await context.addInitScript(() => localStorage.setItem("first", "over"));
const page = await context.newPage();
const errors = [];
page.on("pageerror", (error) => errors.push(String(error)));
page.on("console", (message) => { if (message.type() === "error") errors.push(message.text()); });
page.setDefaultTimeout(20000);
await page.goto(address);
await page.waitForSelector("#card h2");
const key = await page.evaluate(() => state.questions.find((one) => one.measures && !one.sides.length && one.key.endsWith("@bar")).key);
const range = (pair) => `${pair[0].toFixed(3)} to ${pair[1].toFixed(3)} mm`;

const all = readFileSync(truths, "utf8").trim().split("\n").map((line) => JSON.parse(line));
const send = async (key, name) => {
  await page.evaluate((key) => go(key), key);
  const had = await page.evaluate((key) => question(key).part_photos.length, key);
  await page.setInputFiles("#photo", join(photos, `${name}.jpg`));
  await page.waitForFunction(([key, had]) => question(key).part_photos.length > had && !waitingPhotos.length, [key, had], { timeout: 60000 });
};
const ready = () => page.waitForFunction(() => measuring && shownSize() && document.getElementById("measure-picture").complete && document.getElementById("measure-picture").naturalWidth, null, { timeout: 60000 });
// As fingers do it: roughly in the whole picture, then exactly in the enlarged part.
const tap = async ([x, y]) => {
  await ready();
  const [size, number] = await page.evaluate(() => [shownSize(), exact().length]);
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
};
const measured = () => page.waitForFunction(() => measuring.told && measuring.told.value, null, { timeout: 60000 });
const close = (told, truth, least) => {
  const [value, half] = told.match(/[\d.]+/g).map(Number);
  console.log(`${told}, true ${truth.toFixed(3)} mm`);
  assert.ok(Math.abs(value - truth) <= half + 0.06, `${told} does not hold ${truth}`);
  assert.ok(half < least, `${told} is too wide to be of use here`);
};

for (const [index, truth] of all.filter(({ kind }) => kind !== "thin" && kind !== "high").entries()) {
  await send(key, truth.name);
  await page.locator("#card").getByRole("button", { name: /^Measure in / }).last().tap();
  await ready();
  if (index === 0) await page.screenshot({ path: join(output, "measure-1-open.png") });
  if (truth.card) await page.selectOption("#measure-by", "card");
  await page.selectOption("#measure-what", truth.measure);
  for (const at of [...(truth.card || []), ...truth.taps]) await tap(at);
  await page.fill("#measure-height", range(truth.height));
  if (!truth.card && index === 0) {
    // Without the rulers the print may have been shrunk to the page: the interval says so.
    await measured();
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
  console.log(`${truth.name} ${truth.kind}, ${truth.measure}`);
  close(told, truth.truth, 0.1 * truth.truth);
  await page.locator("#measure-save").tap();
  await page.waitForFunction(() => !waiting().length && !problems().length, null, { timeout: 60000 });
  await page.waitForFunction(([key, told]) => question(key).now.includes(told), [key, told], { timeout: 60000 });
  const kept = record();
  for (const expected of [`value = "${told}"`, "[[photo.measurement]]", `measure = "${truth.measure}"`, `reference = "${truth.card ? "card" : "sheet"}"`]) {
    assert.ok(kept.includes(expected), `${expected} in\n${kept}`);
  }
}

const saved = async (key, told) => {
  await page.locator("#measure-save").tap();
  await page.waitForFunction(() => !waiting().length && !problems().length, null, { timeout: 60000 });
  await page.waitForFunction(([key, told]) => question(key).now.includes(told), [key, told], { timeout: 60000 });
};
const kind = (name) => all.find((one) => one.kind === name);

// Both sides of a section in one go, each in a photo of its own.
const [plane, thin] = ["plane", "thin"].map(kind);
const section = await page.evaluate(() => state.questions.find((one) => one.sides.length === 2 && one.key.endsWith("@bar")).key);
await send(section, thin.name);
await page.locator("#card").getByRole("button", { name: /^Measure in / }).first().tap();
const sides = [];
for (const [side, truth] of [["width", plane], ["thickness", thin]]) {
  if (side === "thickness") await page.locator("#measure-in").selectOption({ index: await page.locator("#measure-in option").count() - 1 });
  await page.selectOption("#measure-by", "sheet");
  await page.selectOption("#measure-what", truth.measure);
  for (const at of truth.taps) await tap(at);
  await page.fill("#measure-height", "0 mm ± 0.05 mm");
  await page.fill("#measure-across", truth.sheet === "STRIP" ? "150 mm ± 0.1 mm" : "130 mm ± 0.1 mm");
  await page.fill("#measure-down", truth.sheet === "STRIP" ? "" : "220 mm ± 0.1 mm");
  await page.waitForFunction(() => measuring.told && measuring.told.value && !document.querySelector("#measure-sides .take").disabled, null, { timeout: 60000 });
  if (side === "width") assert.ok(await page.locator("#measure-save").isDisabled(), "a section has two sides");
  sides.push(await page.textContent("#measure-value"));
  if (side === "thickness") await page.locator("#measure-dialog").screenshot({ path: join(output, "measure-4-section.png") });
  await page.getByRole("button", { name: `Take as ${side}` }).tap();
  close(sides.at(-1), truth.truth, side === "thickness" ? 0.2 : 1);
  if (side === "width") {
    // A side may as well be typed.
    await page.fill("#measure-side-1", "2 mm");
    assert.equal(await page.textContent("#measure-save"), `Save ${sides[0]} x 2 mm`);
  }
}
await saved(section, sides.join(" x "));
for (const expected of [`side = "width"`, `side = "thickness"`, `of = "path.element[id=bar].section"`, `value = "${sides[1]}"`]) assert.ok(record().includes(expected), expected);

// The height of an edge from a second photo.
const high = kind("high");
await send(key, `${high.name}-second`);
await send(key, high.name);
const names = await page.evaluate((key) => question(key).part_photos, key);
await page.locator("#card").getByRole("button", { name: `Measure in ${names.at(-1)}` }).tap();
await page.selectOption("#measure-by", "sheet");
await page.selectOption("#measure-what", high.measure);
await page.fill("#measure-across", "130 mm ± 0.1 mm");
await page.fill("#measure-down", "220 mm ± 0.1 mm");
await page.selectOption("#measure-second", names.at(-2));
await tap(high.second[0]);
assert.match(await page.textContent("#measure-how"), /second photo/);
await page.waitForFunction((name) => document.getElementById("measure-picture").alt.includes(name), names.at(-2));
await page.screenshot({ path: join(output, "measure-5-second.png") });
await tap(high.second[1]);
for (const at of high.taps) await tap(at);
await measured();
close(await page.inputValue("#measure-height"), high.high, 3);
const told = await page.textContent("#measure-value");
close(told, high.truth, 0.02 * high.truth);
await page.locator("#measure-dialog").screenshot({ path: join(output, "measure-6-height.png") });
await saved(key, told);
for (const expected of [`height_photo = "photos/${names.at(-2)}"`, "height_taps = ["]) assert.ok(record().includes(expected), expected);
// The code of a label is read on request, compared, taken over and saved.
const marking = await page.evaluate(() => state.questions.find((one) => one.codes && one.key.startsWith("cells-marking")).key);
await page.evaluate((key) => go(key), marking);
await page.setInputFiles("#photo", join(photos, "label.png"));
await page.waitForFunction((key) => question(key).part_photos.length && !waitingPhotos.length, marking, { timeout: 60000 });
await page.locator("#card").getByRole("button", { name: /^Read the codes in / }).first().tap();
const code = "0MBCB1A0000000F6B0000207";
await page.locator("#card .codes").getByRole("button", { name: new RegExp(code) }).tap();
assert.match(await page.locator("#card .codes").first().innerText(), /GB\/T 34014/);
const box = page.locator(`#card [data-key="${marking}"] input, #card #value`).first();
assert.equal(await box.inputValue(), code);
assert.ok(!record().includes(`"${code}"`), "nothing is recorded before it was compared");
await page.screenshot({ path: join(output, "measure-7-code.png") });
await page.locator("#card button.main").tap();
await page.waitForFunction((key) => !waiting().length && !question(key).open, marking, { timeout: 60000 });
assert.ok(record().includes(`marking = "${code}"`), record());

// What is wrong with a photo is told as soon as it was sent; one that was cut off is not kept, and stays on the phone.
const said = [];
for (const [name, words] of [["dark", /too dark/], ["soft", /not sharp/], ["lamp", /glare/]]) {
  await page.evaluate((key) => go(key), key);
  const had = await page.evaluate((key) => question(key).part_photos.length, key);
  await page.setInputFiles("#photo", join(photos, `${name}.png`));
  await page.waitForFunction(([key, had]) => question(key).part_photos.length > had && !waitingPhotos.length, [key, had], { timeout: 60000 });
  said.push(await page.locator("body").innerText());
  assert.match(said.at(-1), words, `${name}: nothing is said of it`);
}
await page.screenshot({ path: join(output, "measure-8-quality.png") });
await page.setInputFiles("#photo", join(photos, "cut.png"));
await page.getByText("This picture was not kept").first().waitFor();
assert.equal(await page.evaluate(() => waitingPhotos.filter((photo) => photo.refused).length), 1);
await page.screenshot({ path: join(output, "measure-9-cut.png") });
assert.deepEqual(errors, []);
await browser.close();
