// Builds the site of a collection in a temporary folder and checks its pages in Chromium as check-pages.mjs does, then
// uses the table as a reader would: sorts, searches, turns the rows, with the keyboard and without JavaScript.
//
//   node tests/browser/check-collection.mjs
//
// With UNDERLID_SHOTS=1 screenshots and printed sheets go to target/screenshots. Last line: 'N passed, N failed'.

import { execFileSync } from 'node:child_process';
import { cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import { checkPage } from './lib/checks.mjs';
import { Tally } from './lib/tally.mjs';
import { launch, root, shots } from './lib/tools.mjs';

const MANY = 230;
/** Rows of a plain page, and those shown at a time with JavaScript on a desktop. */
const PLAIN = 100;
const WINDOW = 50;
/** Longest time for a sort or a search among 10 000 rows, in ms. No source: a second breaks a train of thought. */
const SLOWEST = 1000;
const HOSTILE = '</script><script>alert(1)</script><img src=x onerror=alert(2)>';
const program = process.env.UNDERLID ?? path.join(root, 'target/debug/underlid');

const tally = new Tally();
const browser = await launch();
const scratch = mkdtempSync(path.join(os.tmpdir(), 'underlid-collection-'));
try {
  if (shots) mkdirSync(shots, { recursive: true });
  if (!existsSync(program)) throw new Error(`${program} is missing: cargo build --release`);
  const few = fewPacks();
  const many = manyPacks();
  const pages = [
    ['few-index', few, 'index.html'],
    ['few-charts', few, 'charts.html'],
    ['few-problems', few, 'problems.html'],
    ['few-pack', few, `packs/${onePage(few, 'harbour-24-150-rev-b')}`],
    ['few-hostile', few, `packs/${onePage(few, 'script')}`],
    ['many-index', many, 'index.html'],
    ['many-charts', many, 'charts.html'],
    ['many-rows', many, 'rows/2.html'],
    ['fields', many, 'fields.html'],
  ];
  for (const [name, site, file] of pages) {
    const findings = await checkPage(browser, path.join(site, file), { name: `collection-${name}`, shots });
    for (const [check, problems] of findings) tally.record(`${name}: ${check}`, problems);
  }
  await theTable(many);
  await onAPhone(many);
  await withoutScript(many);
  await nothingActs(few);
  await tenThousand(many);
} finally {
  await browser.close();
  rmSync(scratch, { recursive: true, force: true });
}
tally.close();

function make(rootFolder, site) {
  try {
    execFileSync(program, ['collection', rootFolder, '--to', site], { stdio: ['ignore', 'ignore', 'pipe'] });
  } catch (error) {
    // 1 says that something falls short, 2 that something could not be read; the site is made all the same.
    if (error.status > 2 || !existsSync(path.join(site, 'index.html'))) throw new Error(`collection: ${error.stderr}`);
  }
  return site;
}

/** The examples, a pack with hostile names, one without a log, and one that cannot be read. */
function fewPacks() {
  const from = path.join(scratch, 'few');
  for (const name of ['harbour-24-150-rev-a', 'harbour-24-150-rev-b']) {
    cpSync(path.join(root, 'example-inspections', name), path.join(from, name), { recursive: true });
  }
  const record = readFileSync(path.join(from, 'harbour-24-150-rev-a/inspection.toml'), 'utf8');
  const hostile = path.join(from, '<script>');
  mkdirSync(hostile);
  const named = record
    .replace(/^title = .*$/m, `title = '${HOSTILE}'`)
    .replace(/^(maker|model|price) = .*$/gm, `$1 = '=${HOSTILE}'`)
    .replace(/^name = "disc.*$/m, `name = '${HOSTILE}'`);
  writeFileSync(path.join(hostile, 'inspection.toml'), named);
  mkdirSync(path.join(from, 'bare'));
  writeFileSync(path.join(from, 'bare/inspection.toml'), 'schema = 2\n');
  mkdirSync(path.join(from, 'broken'));
  writeFileSync(path.join(from, 'broken/inspection.toml'), 'schema = 2\n[cells]\nserie = 8\n');
  return make(from, path.join(scratch, 'few-site'));
}

function manyPacks() {
  const from = path.join(scratch, 'many');
  execFileSync('python3', [path.join(root, 'tests/reference/collection_generate.py'), from, String(MANY)]);
  return make(from, path.join(scratch, 'many-site'));
}

function onePage(site, beginning) {
  const name = readdirSync(path.join(site, 'packs')).find((file) => file.startsWith(`${beginning}-`));
  if (!name) throw new Error(`no page of ${beginning}`);
  return name;
}

async function open(site, file, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...options });
  const page = await context.newPage();
  const dialogs = [];
  page.on('dialog', (dialog) => {
    dialogs.push(dialog.message());
    return dialog.dismiss();
  });
  page.on('pageerror', (error) => dialogs.push(String(error)));
  await page.goto(pathToFileURL(path.join(site, file)).href);
  return { context, page, dialogs };
}

function heads(page) {
  return page.$$eval('#table thead th', (all) => all.map((th) => th.textContent));
}

function column(page, place) {
  return page.$$eval('#table tbody tr', (all, n) => all.map((tr) => tr.cells[n].textContent), place);
}

function count(page) {
  return page.textContent('#count');
}

function numbers(texts) {
  return texts.filter((t) => t !== '–').map((t) => Number(t.replace('≤ ', '').replace('−', '-')));
}

/** Values are shown to the digits of their uncertainty: neighbours may change places within half a unit. */
function rising(values) {
  return values.every((value, i) => i === 0 || values[i - 1] <= value + 0.5);
}

/** One check of several claims: each is a truth and, for where it does not hold, what was found instead. */
function expect(name, ...claims) {
  tally.record(name, claims.filter(([holds]) => !holds).map(([, ...words]) => words.join(' ')));
}

async function theTable(site) {
  const { context, page, dialogs } = await open(site, 'index.html');
  const labels = await heads(page);
  const margin = labels.indexOf('Margin of the weakest part, %');
  const rows = () => page.$$eval('#table tbody tr', (all) => all.length);
  const sorts = () => page.$$eval('#table thead th[aria-sort]', (all) => all.map((th) => th.getAttribute('aria-sort')));
  expect('rows at a time', [(await rows()) === WINDOW, `${await rows()} rows`]);
  const [inside, frame] = await page.$eval('.scroll', (e) => [e.scrollWidth, e.clientWidth]);
  expect('the table needs no sideways scroll on a desktop', [inside <= frame, `${inside} px in ${frame} px`]);
  expect('live region', [(await count(page)).startsWith(`${MANY} packs`), await count(page)]);

  const button = page.locator('#table thead button').nth(margin);
  await button.focus();
  await page.keyboard.press('Enter');
  let values = numbers(await column(page, margin));
  expect('sorts up by the keyboard', [rising(values), values], [String(await sorts()) === 'ascending', await sorts()]);
  expect('the head keeps the focus', [await button.evaluate((b) => b === document.activeElement), 'focus is lost']);
  await page.keyboard.press('Space');
  values = numbers(await column(page, margin));
  const falling = rising([...values].reverse());
  expect('sorts down by the keyboard', [falling, values], [String(await sorts()) === 'descending', await sorts()]);

  const capacity = labels.indexOf('Measured of the claimed capacity, %');
  await page.locator('#table thead button').nth(capacity).click();
  expect('what is not known stands last', [rising(numbers(await column(page, capacity))), 'not sorted']);

  await page.fill('#search', 'tollgate 24-0 zzz');
  await page.waitForFunction(() => document.getElementById('count').textContent.startsWith('0 '));
  expect('nothing matches', [(await rows()) === 0, 'rows are left'], [/^0 of 230 packs match$/.test(await count(page)), await count(page)]);
  await page.fill('#search', 'TOLLGATE  cells');
  await page.waitForFunction(() => /^46 of 230/.test(document.getElementById('count').textContent));
  const makers = new Set(await column(page, labels.indexOf('Maker')));
  expect('search finds all of a maker', [makers.size === 1 && makers.has('Tollgate Cells'), [...makers]]);
  await page.fill('#search', '');
  await page.waitForFunction(() => /^230 packs/.test(document.getElementById('count').textContent));

  await page.selectOption('#sort', '-1');
  const seen = new Set();
  for (;;) {
    const links = await page.$$eval('#table tbody a', (all) => all.map((a) => a.getAttribute('href')));
    links.forEach((link) => seen.add(link));
    const on = page.getByRole('button', { name: 'next rows' });
    if (await on.isDisabled()) break;
    await on.click();
  }
  const missing = [...seen].filter((link) => !existsSync(path.join(site, link)));
  expect('turning the rows meets every pack once', [seen.size === MANY, seen.size], [missing.length === 0, missing]);
  expect('no error and no dialog', [dialogs.length === 0, dialogs]);
  await context.close();
}

async function onAPhone(site) {
  const { context, page } = await open(site, 'index.html', {
    viewport: { width: 390, height: 844 },
    isMobile: true,
    hasTouch: true,
  });
  await page.selectOption('#sort', { label: 'Rated current, A' });
  await page.click('#turn');
  const place = (await heads(page)).indexOf('Rated current, A');
  const values = numbers(await column(page, place));
  expect('sorts on a phone', [rising([...values].reverse()) && values.length > 0, values]);
  const wide = await page.evaluate(() => document.documentElement.scrollWidth);
  expect('no sideways scroll on a phone', [wide <= 390, wide]);
  if (shots) await page.screenshot({ path: path.join(shots, 'collection-phone-sorted.png') });
  await context.close();
}

async function withoutScript(site) {
  const { context, page } = await open(site, 'index.html', { javaScriptEnabled: false });
  expect('without JavaScript: no controls', [!(await page.locator('#controls').isVisible()), 'controls are shown']);
  const seen = new Set();
  let next = 'index.html';
  for (let number = 1; next; number += 1) {
    await page.goto(pathToFileURL(path.join(site, next)).href);
    const links = await page.$$eval('#table tbody a', (all) => all.map((a) => new URL(a.href).pathname));
    if (number === 1) expect('without JavaScript: the first rows', [links.length === PLAIN, links.length]);
    links.filter((link) => existsSync(link)).forEach((link) => seen.add(link));
    const link = page.getByRole('link', { name: `Page ${number + 1}`, exact: true }).first();
    next = (await link.count()) > 0 ? path.relative(site, new URL(await link.evaluate((a) => a.href)).pathname) : null;
  }
  expect('without JavaScript: pages hold every pack', [seen.size === MANY, seen.size]);
  await context.close();
}

async function nothingActs(site) {
  for (const file of ['index.html', `packs/${onePage(site, 'script')}`, 'charts.html', 'problems.html']) {
    const { context, page, dialogs } = await open(site, file);
    const images = await page.$$eval('img', (all) => all.length);
    const foreign = await page.$$eval('script', (all) => all.length);
    const wanted = file === 'index.html' ? 2 : 0;
    expect(`hostile names do nothing in ${file.split('-')[0]}`, [dialogs.length === 0, dialogs], [images === 0, 'an image'], [foreign === wanted, `${foreign} scripts`]);
    await context.close();
  }
}

/** The first page with its rows many times over: what a reader with 10 000 packs waits for. */
async function tenThousand(site) {
  const source = readFileSync(path.join(site, 'index.html'), 'utf8');
  const block = /(<script type="application\/json" id="rows">)([\s\S]*?)(<\/script>)/;
  const data = JSON.parse(block.exec(source)[2]);
  const rows = Array.from({ length: 10000 }, (_, index) => data.rows[index % data.rows.length]);
  const big = source.replace(block, (_, start, __, end) => `${start}${JSON.stringify({ ...data, rows })}${end}`);
  writeFileSync(path.join(site, 'big.html'), big);
  const started = performance.now();
  const { context, page } = await open(site, 'big.html');
  const loaded = performance.now() - started;
  const nodes = await page.evaluate(() => document.querySelectorAll('*').length);
  const spent = async (act) => page.evaluate(act);
  const sort = await spent(() => {
    const start = performance.now();
    document.querySelectorAll('#table thead button')[2].click();
    return performance.now() - start;
  });
  const search = await page.evaluate(
    () =>
      new Promise((resolve) => {
        const field = document.getElementById('search');
        const start = performance.now();
        new MutationObserver(() => resolve(performance.now() - start)).observe(document.getElementById('count'), { childList: true });
        field.value = 'saltmarsh strip';
        field.dispatchEvent(new Event('input'));
      }),
  );
  console.log(`        10 000 rows: open ${loaded.toFixed(0)} ms, sort ${sort.toFixed(0)} ms, search ${search.toFixed(0)} ms, ${nodes} elements, ${(big.length / 1e6).toFixed(1)} MB`);
  expect('10 000 rows: quick', [sort < SLOWEST, sort], [search < SLOWEST, search], [loaded < 5 * SLOWEST, loaded]);
  expect('10 000 rows: few elements', [nodes < 3000, nodes]);
  await context.close();
}
