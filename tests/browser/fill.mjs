// The page on the bench in headless Chromium at a phone's size: a whole example by touch, a photo, two devices on one
// field, a killed server, no connection, and an accessibility check. Arguments: program, folder, answers.json, output.
import { spawn } from "node:child_process";
import { createServer } from "node:net";
import { readFileSync, writeFileSync, readdirSync, mkdirSync } from "node:fs";
import { join } from "node:path";
import { createHash } from "node:crypto";
import assert from "node:assert/strict";
import { launch, tool } from "./lib/tools.mjs";

const [program, folder, answersFile, output] = process.argv.slice(2);
const axe = tool("axe-core").source;
mkdirSync(output, { recursive: true });
const answers = JSON.parse(readFileSync(answersFile, "utf8"));
const record = () => readFileSync(join(folder, "inspection.toml"), "utf8");

const port = await new Promise((resolve) => {
  const probe = createServer().listen(0, "127.0.0.1", () => { const { port } = probe.address(); probe.close(() => resolve(port)); });
});
let server = null;
async function start() {
  server = spawn(program, ["fill", folder, "--page", "--port", String(port)], { stdio: ["ignore", "pipe", "inherit"] });
  await new Promise((resolve, reject) => {
    server.stdout.on("data", (data) => { if (String(data).includes("http://")) resolve(); });
    server.on("exit", (code) => reject(new Error(`the server ended: ${code}`)));
  });
}
async function kill() {
  server.removeAllListeners("exit");
  const gone = new Promise((resolve) => server.once("exit", resolve));
  server.kill("SIGKILL");
  await gone;
}
process.on("exit", () => server && server.kill("SIGKILL"));

await start();
const browser = await launch();
const address = `http://127.0.0.1:${port}/`;
const errors = [];
async function device(options = {}) {
  const context = await browser.newContext({ viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true, ...options });
  // The first look has a check of its own: here everything is answered section by section.
  await context.addInitScript(() => localStorage.setItem("first", "over"));
  const page = await context.newPage();
  page.on("pageerror", (error) => errors.push(String(error)));
  page.on("console", (message) => { if (message.type() === "error" && !/ERR_|Failed to load resource/.test(message.text())) errors.push(message.text()); });
  await page.goto(address);
  await page.waitForSelector("#card h2");
  return { context, page };
}
const key = (page) => page.getAttribute("#card", "data-key");
// The line of the status is drawn a moment after an answer was queued: the queue itself is asked as well.
const sent = (page) => page.waitForFunction(() => waiting().length === 0 && waitingPhotos.length === 0
  && document.getElementById("status").textContent === "connected; everything is in the record", null, { timeout: 150000 });
const goTo = (page, wanted) => page.evaluate((wanted) => go(wanted), wanted);
const shows = (page, wanted) => page.waitForFunction((wanted) => document.getElementById("card").dataset.key === wanted, wanted);
async function check(page, what) {
  await page.evaluate(axe);
  const { violations } = await page.evaluate(() => axe.run());
  const grave = violations.filter(({ impact }) => impact === "serious" || impact === "critical");
  assert.deepEqual(grave.map(({ id, nodes }) => `${what}: ${id}: ${nodes.map((node) => node.html).join(" ")}`), []);
  console.log(`axe-core, ${what}: ${violations.length} findings, none serious or critical`);
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
  assert.ok(wide <= 0, `${what}: ${wide} px wider than the screen`);
  const small = await page.evaluate(() => [...document.querySelectorAll("button, select, summary, label.button")]
    .filter((one) => one.offsetParent && !one.closest("dialog:not([open])"))
    .map((one) => ({ text: one.textContent.slice(0, 30), height: one.getBoundingClientRect().height, width: one.getBoundingClientRect().width }))
    .filter(({ height, width }) => height < 48 || width < 48));
  assert.deepEqual(small, [], `${what}: targets below 48 px`);
}

// ------------------------------------------------------------------ a whole example by touch
const { context, page } = await device();
await check(page, "first question");
await page.screenshot({ path: join(output, "fill-1-first.png") });
let taps = 0;
let keys = 0;
const started = Date.now();
const tap = async (target) => { taps += 1; await target.tap(); };
// Opening a list and choosing in it are two.
const choose = async (target, value) => { taps += 2; await target.selectOption(value); };
// By their keys: under load a screen may be seen twice before the page has gone on.
const screens = new Set();
const values = new Set();
const pictured = new Set();
for (let step = 0; step < 1200; step += 1) {
  const now = await key(page);
  if (!now) break;
  const done = await page.evaluate((now) => { const one = question(now); return !isOpen(one); }, now);
  if (done) {
    // Under load the page may not have gone on yet.
    if (!(await page.evaluate(() => state.questions.some(isAsked)))) break;
    await page.waitForTimeout(100);
    continue;
  }
  const screen = await page.evaluate((now) => screenOf(question(now)).map(({ key, units }) => ({ key, unit: units[0] })), now);
  const known = screen.filter(({ key }) => answers[key] !== undefined);
  // What stands alone is answered as before; of what is asked together the fields are filled in and saved once.
  const wanted = screen.length === 1 ? answers[now] : known[0];
  if (screen.some(({ key }) => key === "positive-fuse-kind@main-fuse") && !pictured.size) {
    pictured.add(now);
    await page.screenshot({ path: join(output, "fill-2-choices.png"), fullPage: true });
    await check(page, "choices");
  }
  if (wanted === undefined) {
    // What comes of no use for this part is left in one touch; the last skip begins the walk again.
    const rest = await page.evaluate((now) => restOf(question(now)).map((one) => one.key), now);
    const others = await page.evaluate(() => state.questions.filter((one) => isAsked(one) && !left.has(one.key)).map((one) => one.key));
    if (others.every((one) => answers[one] === undefined)) break;
    const bulk = rest.length > 1 && rest.every((one) => answers[one] === undefined);
    await tap(page.locator(bulk ? "#skip-rest" : "#skip"));
    continue;
  }
  screens.add(now);
  for (const { key } of known) values.add(key);
  if (screen.length > 1) {
    for (const { key, unit } of known) {
      const { value, number, unit: own } = answers[key];
      const asked = page.locator(`.asked[data-key="${key}"]`);
      const [field, pick] = [asked.locator(".row > input"), asked.locator(".row > select")];
      if (["absent", "could not see"].includes(value) || !(await field.count())) { await choose(pick, value); continue; }
      await tap(field);
      const short = own && own === unit;
      await field.fill(short ? number : value);
      keys += (short ? number : value).length;
    }
    await tap(page.locator("#card .main"));
    await page.waitForFunction((now) => document.getElementById("card").dataset.key !== now || !question(now).open, now, { timeout: 20000 });
    continue;
  }
  const choice = page.locator("#card").getByRole("button", { name: wanted.value, exact: true });
  const word = page.locator("#card .choices button, #card .two button").filter({ hasText: new RegExp(`^${wanted.value.replace(/[.*+?^${}()|[\]\\]/g, "\\$&")}`) });
  const field = page.locator("#value");
  if (["absent", "could not see"].includes(wanted.value)) await tap(choice);
  else if (await field.count()) {
    const unit = page.locator("#card .chips button").filter({ hasText: new RegExp(`^${(wanted.unit || "").replace(/[.*+?^${}()|[\]\\]/g, "\\$&")}$`) });
    if (!(await page.evaluate(() => document.activeElement === document.getElementById("value")))) await tap(field);
    if (wanted.unit && await unit.count()) {
      await field.fill(wanted.number);
      keys += wanted.number.length;
      await tap(unit);
    } else {
      await field.fill(wanted.value);
      keys += wanted.value.length;
      await tap(page.locator("#card .main"));
    }
  } else await tap(word.first());
  await page.waitForFunction((now) => document.getElementById("card").dataset.key !== now || !question(now).open, now, { timeout: 20000 });
  // Parts that were added bring questions of their own: they are there once the answer is in the record.
  if (wanted.adds || now === "cells-series") await sent(page);
}
await sent(page);
// What is seldom wanted is found by its number in the list.
for (const one of await page.evaluate(() => state.questions.filter((one) => isOpen(one)).map(({ key }) => key))) {
  if (answers[one] === undefined) continue;
  taps += 2;
  screens.add(one);
  values.add(one);
  await page.evaluate(({ one, value }) => kept(question(one), value, {}), { one, value: answers[one].value });
}
await sent(page);
console.log(`full drop-in record by touch: ${screens.size} answers with ${values.size} values, ${taps} taps and ${keys} characters typed, in ${Math.round((Date.now() - started) / 1000)} s`);
// Screens are counted, and not taps: under load a tap may be repeated. A screen that is saved once is one answer.
assert.ok(screens.size <= 100, `${screens.size} answers`);
assert.equal(values.size, Object.keys(answers).length, "every value was asked for");
await page.screenshot({ path: join(output, "fill-3-end.png") });
await page.locator("#show-findings").tap();
await page.waitForTimeout(300);
await check(page, "findings");
await page.screenshot({ path: join(output, "fill-4-findings.png") });
await page.locator("#findings-dialog .close").tap();
await page.locator("#list").tap();
await page.locator("#only-open").tap();
await page.locator("#search").fill("fuse");
await check(page, "list");
await page.screenshot({ path: join(output, "fill-5-list.png") });
await page.locator("#add-part").tap();
await check(page, "add a part");
await page.screenshot({ path: join(output, "fill-6-add.png") });
await page.locator("#add-dialog .close").tap();
await page.locator("#list-dialog .close").tap();

// ------------------------------------------------------------------ what it came with: how, instrument, note
await goTo(page, "positive-section@positive-bar");
await page.locator("#card summary").tap();
await page.selectOption("#extra-with", "caliper");
await page.fill("#extra-note", "at the middle");
await page.screenshot({ path: join(output, "fill-7-extras.png"), fullPage: true });
await check(page, "how it came");
await page.getByRole("button", { name: "Save these only" }).tap();
await sent(page);
assert.match(record(), /with = "caliper", note = "at the middle"/);

// ------------------------------------------------------------------ a photo from the camera
await goTo(page, "positive-fuse-kind@main-fuse");
const picture = Buffer.concat([readFileSync(new URL("../../example-inspections/harbour-24-150-rev-a/photos/05-fuse.jpg", import.meta.url)), Buffer.from(`camera ${port}`)]);
await page.setInputFiles("#photo", { name: "../../IMG_0001.JPG", mimeType: "image/jpeg", buffer: picture });
await page.waitForFunction(() => question("positive-fuse-kind@main-fuse").part_photos.length > 0);
const kept = readdirSync(join(folder, "photos")).filter((name) => /^\d+-main-fuse\.jpg$/.test(name));
assert.equal(kept.length, 1);
assert.deepEqual(readFileSync(join(folder, "photos", kept[0])), picture);
assert.match(record(), new RegExp(`file = "photos/${kept[0]}"\\nshows = \\["main-fuse"\\]\\nsha256 = "[0-9a-f]{64}"`));
// The part is pointed to: a tap, then a frame drawn round it.
await page.getByRole("button", { name: `Point to it in ${kept[0]}` }).tap();
await page.waitForFunction(() => document.getElementById("point-picture").naturalWidth > 100);
const shot = await page.locator("#point-picture").boundingBox();
await page.touchscreen.tap(shot.x + shot.width / 2, shot.y + shot.height / 4);
assert.deepEqual([await page.inputValue("#point-left"), await page.inputValue("#point-top")].map(Number).map(Math.round), [50, 25]);
await page.screenshot({ path: join(output, "fill-14-point.png") });
await check(page, "pointing");
await page.locator("#point-save").tap();
await sent(page);
assert.match(record(), /\[\[photo\.pointer\]\]\nof = "main-fuse"\nleft = "\d+(\.\d)? %"\ntop = "\d+(\.\d)? %"\n/);
await page.getByRole("button", { name: `Point to it in ${kept[0]}` }).tap();
await page.mouse.move(shot.x + shot.width * 0.3, shot.y + shot.height * 0.4);
await page.mouse.down();
await page.mouse.move(shot.x + shot.width * 0.7, shot.y + shot.height * 0.7, { steps: 4 });
await page.mouse.up();
await page.screenshot({ path: join(output, "fill-15-frame.png") });
await page.locator("#point-save").tap();
await sent(page);
assert.match(record(), /left = "30(\.\d)? %"\ntop = "40(\.\d)? %"\nwidth = "(39|40)(\.\d)? %"\nheight = "(29|30)(\.\d)? %"/);
await page.setInputFiles("#photo", { name: "again.jpg", mimeType: "image/jpeg", buffer: picture });
await page.setInputFiles("#photo", { name: "page.html", mimeType: "image/jpeg", buffer: Buffer.from("<script>alert(1)</script>") });
// What is no picture, or only half of one, stays on the phone until somebody has read why.
await page.setInputFiles("#photo", { name: "half.jpg", mimeType: "image/jpeg", buffer: picture.subarray(0, picture.length / 2) });
await page.waitForFunction(() => /not a JPEG/.test(document.getElementById("problems").textContent) && /damaged/.test(document.getElementById("problems").textContent));
await page.screenshot({ path: join(output, "fill-13-refused-photo.png"), fullPage: true });
await check(page, "refused pictures");
for (let left = 2; left > 0; left -= 1) await page.getByRole("button", { name: "Leave it" }).first().tap();
await page.waitForFunction(() => document.getElementById("problems").hidden);
assert.equal(readdirSync(join(folder, "photos")).filter((name) => /main-fuse/.test(name)).length, 1, "the same picture is kept once");

// ------------------------------------------------------------------ several pictures at once, chosen from the phone
await goTo(page, "negative-name@negative-bar");
const chosen = await key(page);
assert.equal(chosen, "negative-name@negative-bar");
const label = page.locator("#card label[for=pictures]");
assert.equal(await label.count(), 1);
assert.equal(await page.getAttribute("#pictures", "multiple"), "");
assert.equal(await page.getAttribute("#pictures", "capture"), null, "the gallery, not the camera");
const several = [1, 2, 3].map((n) => Buffer.concat([picture, Buffer.from(`several ${n}`)]));
const photosBefore = readdirSync(join(folder, "photos")).length;
await page.setInputFiles("#pictures", [...several.map((buffer, n) => ({ name: `${n}\n<b>.jpg`, mimeType: "image/jpeg", buffer })),
  { name: "big.jpg", mimeType: "image/jpeg", buffer: Buffer.alloc(41 * 1024 * 1024, 0xff) }]);
await page.waitForFunction((count) => question(document.getElementById("card").dataset.key).part_photos.length >= count, 3);
assert.match(await page.textContent("#decided"), /larger than 40 MiB/);
await sent(page);
assert.equal(readdirSync(join(folder, "photos")).length, photosBefore + 3, `${chosen}: three of the four`);
const hash = (buffer) => createHash("sha256").update(buffer).digest("hex");
for (const buffer of several) assert.ok(record().includes(`sha256 = "${hash(buffer)}"`), "the hash on arrival is the file's");
await page.screenshot({ path: join(output, "fill-12-several.png"), fullPage: true });
await check(page, "several pictures");

// ------------------------------------------------------------------ a part like the one before, and a reading of a test
await page.evaluate(() => ask({ do: "add", key: "positive-list", what: "positive joint twin-joint" }));
await page.waitForFunction(() => state.questions.some((one) => one.key.endsWith("@twin-joint") && one.like));
const twin = await page.evaluate(() => state.questions.find((one) => one.key.endsWith("@twin-joint") && isAsked(one)).key);
await goTo(page, twin);
await check(page, "same as");
await page.screenshot({ path: join(output, "fill-13-same.png"), fullPage: true });
const openOfTwin = () => page.evaluate(() => state.questions.filter((one) => one.key.endsWith("@twin-joint") && one.open).length);
const openBefore = await openOfTwin();
await page.locator("#same").tap();
await sent(page);
await page.waitForFunction((before) => state.questions.filter((one) => one.key.endsWith("@twin-joint") && one.open).length < before, openBefore);
console.log(`same as: one tap answered ${openBefore - (await openOfTwin())} questions`);
assert.ok(openBefore - (await openOfTwin()) >= 3);
await goTo(page, "test-date@full-load");
await page.locator("#list").tap();
await page.locator("#add-part").tap();
await page.fill("#row-at", "15 min");
await page.fill("#row-value", "77 A");
await page.fill("#row-of", "branch 1");
await check(page, "a reading of a test");
await page.screenshot({ path: join(output, "fill-14-row.png") });
await page.getByRole("button", { name: "Add the reading" }).tap();
await page.fill("#row-at", "16 min");
await page.fill("#row-value", "78 A");
await page.getByRole("button", { name: "Add the reading" }).tap();
await page.locator("#add-dialog .close").tap();
await page.locator("#list-dialog .close").tap();
await sent(page);
assert.match(record(), /of = "branch 1"\nat = "15 min"\nvalue = "77 A"\n\n\[\[test\.reading\]\]\nof = "branch 1"\nat = "16 min"\nvalue = "78 A"/);

// ------------------------------------------------------------------ a part is renamed, moved and removed, and sizes typed by keypad
await goTo(page, twin);
await page.evaluate((twin) => localStorage.setItem(`draft:${twin}`, "typed before"), twin);
const change = async (field, value, button) => {
  await page.locator("#change").tap();
  if (field === "#change-behind") await page.selectOption(field, value); else await page.fill(field, value);
  await page.getByRole("button", { name: button, exact: true }).tap();
  await sent(page);
};
await page.locator("#change").tap();
await check(page, "rename, move or remove");
await page.locator("#add-dialog .close").tap();
await change("#change-id", "other-joint", "Rename");
await shows(page, twin.replace("twin-joint", "other-joint"));
assert.equal(await page.evaluate(() => localStorage.getItem(`draft:${at}`)), "typed before", "what was typed goes with the name");
const idsOfParts = () => [...record().matchAll(/\[\[path\.element\]\][^[]*?\bid = "([^"]+)"/g)].map(([, id]) => id);
await change("#change-behind", "positive-bar", "Move");
assert.equal(idsOfParts()[idsOfParts().indexOf("other-joint") - 1], "positive-bar");
await change("#change-gone", "positive-bar", "Remove");
await page.waitForSelector(".problem");
assert.match(await page.textContent(".problem"), /Remove: other-joint.*this is `other-joint`/s);
assert.ok(idsOfParts().includes("other-joint") && idsOfParts().includes("positive-bar"));
await page.getByRole("button", { name: "Leave it" }).tap();
await change("#change-gone", "other-joint", "Remove");
assert.ok(!record().includes("other-joint"));
await page.waitForFunction(() => question(at) && question(at).section === "positive-leg" && !at.endsWith("@other-joint"));
await goTo(page, "positive-section@positive-bar");
const sectionBefore = record();
await page.fill("#side-width", "20,04");
await page.locator("#card .main").tap();
await page.waitForFunction(() => /thickness is not filled in/.test(document.getElementById("decided").textContent));
assert.equal(record(), sectionBefore, "half a size is not saved");
await page.fill("#side-thickness", "1,52");
await page.locator("#card .main").tap();
await sent(page);
assert.match(record(), /section = \{ value = "20,04 x 1,52 mm"/);
await goTo(page, "positive-section@positive-bar");
await page.fill("#value", "20.04×1.52");
await page.locator("#card .main").tap();
await sent(page);
assert.match(record(), /section = \{ value = "20\.04×1\.52 mm"/);
await page.evaluate((value) => kept(question("positive-section@positive-bar"), value, {}), answers["positive-section@positive-bar"].value);
await sent(page);

// ------------------------------------------------------------------ two devices on one field
const second = await device();
for (const each of [page, second.page]) await goTo(each, "label-capacity");
await second.context.setOffline(true);
await page.fill("#value", "151");
await page.locator("#card .chips button").first().tap();
await sent(page);
await second.page.fill("#value", "149");
await second.page.locator("#card .chips button").first().tap();
await second.page.waitForFunction(() => waiting().length === 1);
await second.page.screenshot({ path: join(output, "fill-8-offline.png") });
await second.context.setOffline(false);
await second.page.waitForSelector(".problem");
assert.match(await second.page.textContent(".problem"), /Changed on another device.*151 Ah.*149 Ah/s);
assert.match(record(), /capacity = "151 Ah"/);
await second.page.evaluate(() => window.scrollTo(0, 0));
await second.page.screenshot({ path: join(output, "fill-9-conflict.png") });
await check(second.page, "conflict");
await second.page.getByRole("button", { name: "Write mine" }).tap();
await sent(second.page);
assert.match(record(), /capacity = \{ value = "149 Ah", note = "another device answered: 151 Ah" \}/, "both answers are kept");
await goTo(page, "label-capacity");
await page.waitForFunction(() => document.querySelector("#card .now").textContent.includes("149 Ah"));

// A refused answer comes back to be corrected.
await goTo(page, "label-voltage");
await page.fill("#value", "25.6 A");
await page.locator("#card .main").tap();
await page.waitForSelector(".problem");
assert.match(await page.textContent(".problem"), /Not saved.*25\.6 A.*expected a voltage/s);
await page.getByRole("button", { name: "Correct it" }).tap();
await shows(page, "label-voltage");
assert.equal(await page.inputValue("#value"), "25.6 A");
await page.fill("#value", "25.6 V");
await page.locator("#card .main").tap();
await sent(page);

// ------------------------------------------------------------------ the server killed in the middle, and back
await kill();
const offline = [["label-energy", "3841 Wh"], ["label-peak", "301 A"], ["label-energy", "3842 Wh"], ["manual-mass", "27.9 kg"]];
for (const [wanted, value] of offline) {
  await goTo(page, wanted);
  await page.fill("#value", value);
  await page.locator("#card .main").tap();
}
await page.evaluate(() => ask({ do: "add", key: at, what: "busbar spare-bar" }));
await goTo(page, "bms-marking");
await page.setInputFiles("#photo", { name: "b.jpg", mimeType: "image/jpeg", buffer: Buffer.concat([picture, Buffer.from("b")]) });
await page.waitForFunction(() => document.getElementById("status").textContent.startsWith("no connection") && /\d+ waiting/.test(document.getElementById("status").textContent));
await page.screenshot({ path: join(output, "fill-10-server-gone.png") });
assert.equal(await page.evaluate(() => waiting().length), 5);
await start();
await sent(page);
assert.match(record(), /energy = "3842 Wh"/);
assert.match(record(), /peak_current = "301 A"/);
assert.match(record(), /mass = "27.9 kg"/);
assert.equal(record().match(/id = "spare-bar"/g).length, 1);
assert.equal(readdirSync(join(folder, "photos")).filter((name) => /^\d+-bms\.jpg$/.test(name)).length, 2, "the example's own and one more");
assert.equal(await page.evaluate(() => problems().length), 0, "answers made one upon the other by one device are no conflict");

// An answer whose confirmation was lost: sent again after a restart, counted once.
const lost = await page.evaluate(async () => {
  const body = JSON.stringify({ id: "lost0001", record: state.record, do: "add", key: at, what: "joint" });
  const post = () => call("/api/op", { method: "POST", headers: { "content-type": "application/json" }, body }).then((answer) => answer.json());
  const one = await post();
  return [one.said, (await post()).said];
});
assert.equal(lost[0], lost[1]);
const joints = () => record().match(/kind = "joint"/g).length;
const before = joints();
await kill();
await start();
const again = await page.evaluate(async () => {
  const body = JSON.stringify({ id: "lost0001", record: state.record, do: "add", key: at, what: "joint" });
  return (await call("/api/op", { method: "POST", headers: { "content-type": "application/json" }, body })).json();
});
assert.equal(again.status, "saved");
assert.equal(joints(), before, "nothing is doubled");

// ------------------------------------------------------------------ offline for a while, the page loaded anew, and back
await context.setOffline(true);
await goTo(page, "label-charge-current");
await page.fill("#value", "76 A");
await page.locator("#card .main").tap();
await page.waitForTimeout(2500);
assert.doesNotMatch(record(), /"76 A"/);
await context.setOffline(false);
await page.reload();
await page.waitForSelector("#card h2");
await sent(page);
assert.match(record(), /charge_current = "76 A"/);

// An editor changes the record underneath: the page shows it.
await goTo(page, "pack-place");
writeFileSync(join(folder, "inspection.toml"), record().replace(/place = ".*"/, 'place = "edited by hand"'));
await page.waitForFunction(() => document.querySelector("#card .now").textContent.includes("edited by hand"));

await context.close();
await second.context.close();

// ------------------------------------------------------------------ over the network: the link of the QR code pairs once
await kill();
let shown = "";
server = spawn(program, ["fill", folder, "--page", "--port", String(port), "--open-to-network"], { stdio: ["ignore", "pipe", "inherit"] });
server.stdout.on("data", (data) => { shown += data; });
const code = () => [...shown.matchAll(/#pair=([A-Z2-9]{8})/g)].pop()[1];
for (let wait = 0; wait < 200 && !shown.includes("Ctrl-C"); wait += 1) await new Promise((resolve) => setTimeout(resolve, 50));
const phone = await browser.newContext({ viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true });
const paired = await phone.newPage();
const used = code();
await paired.goto(`${address}#pair=${used}`);
await paired.waitForSelector("#card h2");
await sent(paired);
assert.equal(await paired.evaluate(() => location.hash), "", "the code does not stay in the address");
const stranger = await (await browser.newContext({ viewport: { width: 390, height: 844 } })).newPage();
await stranger.goto(address);
await stranger.waitForSelector("#pair-dialog[open]");
await check(stranger, "pairing");
await stranger.fill("#pair-code", used);
await stranger.getByRole("button", { name: "Pair" }).click();
await stranger.waitForFunction(() => document.getElementById("pair-problem").textContent.includes("not the code"));
await stranger.screenshot({ path: join(output, "fill-11-pairing.png") });
assert.notEqual(code(), used);
await stranger.fill("#pair-code", code());
await stranger.getByRole("button", { name: "Pair" }).click();
await stranger.waitForSelector("#card h2");

assert.deepEqual(errors, []);
await browser.close();
await kill();
console.log("page: all well");
process.exit(0);
