// Looks at what the video kit and the printed write-up are for a viewer: cards, chapters, sheets of paper.
//
//   node tests/browser/check-video-kit.mjs
//
// Every SVG card is shown by Chromium and compared with the PNG beside it; the chapters are parsed by Chromium's own
// text tracks; both write-ups are printed, every sheet is looked at as a picture, and what a reader checks evidence by
// (rules, hashes) must be on paper. Last line: 'N passed, N failed'.

import { execFileSync } from 'node:child_process';
import { createServer } from 'node:http';
import { cpSync, existsSync, mkdtempSync, readFileSync, readdirSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import { drawnSheets } from './lib/sheets.mjs';
import { Tally } from './lib/tally.mjs';
import { launch, poppler, root } from './lib/tools.mjs';

const EXAMPLES = ['harbour-24-150-rev-a', 'harbour-24-150-rev-b'];
const SIZES = { wide: [1920, 1080], tall: [1080, 1920], 'lower-third': [1920, 1080] };
/** Pictures are compared in squares of this many pixels: two renderers smooth the same edge differently. */
const SQUARE = 12;
/** Squares that may differ in mean brightness by more than MOST_APART of 255, as a part of all. */
const MOST_UNLIKE = 0.01;
const MOST_APART = 40;
/** A sheet whose ink reaches less far down than this part of its height is nearly empty; the last one may be. */
const LEAST_FILLED = 0.3;
/** Sheets that a write-up of an example may take before its annex, and in all. */
const MOST_BEFORE_ANNEX = 4;
const MOST_SHEETS = 34;
/** The least print: in pt, before the annex and in it. Texts in drawings are judged by the checks of pages. */
const LEAST_PT = { before: 8, annex: 8 };
const MARGIN_MM = 10;

const tally = new Tally();
const browser = await launch();
const scratch = mkdtempSync(path.join(os.tmpdir(), 'underlid-video-kit-'));
const program = process.env.UNDERLID ?? path.join(root, 'target/debug/underlid');
try {
  if (!existsSync(program)) tally.record('the program', [`${program} is missing: cargo build --release`]);
  else {
    for (const name of EXAMPLES) {
      const folder = path.join(scratch, name);
      cpSync(path.join(root, 'example-inspections', name), folder, { recursive: true });
      const other = path.join(root, 'example-inspections', EXAMPLES.find((e) => e !== name));
      make(['report', folder]);
      make(['video-kit', folder, '--against', other]);
      await cards(name, path.join(folder, 'video-kit/cards'));
      await chapters(name, path.join(folder, 'video-kit'));
      await paper(name, folder);
    }
  }
} finally {
  await browser.close();
  rmSync(scratch, { recursive: true, force: true });
}
tally.close();

/** Runs the program; exit status 1 says that something falls short and is no failure here. */
function make(args) {
  try {
    return execFileSync(program, args, { stdio: ['ignore', 'pipe', 'pipe'], maxBuffer: 1 << 28 }).toString();
  } catch (error) {
    if (error.status !== 1) throw new Error(`underlid ${args[0]}: ${error.stderr ?? error}`);
    return error.stdout.toString();
  }
}

async function cards(name, folder) {
  const sizes = [];
  const unlike = [];
  const names = readdirSync(folder).filter((f) => f.endsWith('.svg'));
  if (names.length < 8) unlike.push(`${names.length} cards`);
  for (const svg of names) {
    const format = /-(wide|tall|lower-third)\.svg$/.exec(svg)[1];
    const [width, height] = SIZES[format];
    const png = readFileSync(path.join(folder, svg.replace(/svg$/, 'png')));
    const [w, h] = [png.readUInt32BE(16), png.readUInt32BE(20)];
    if (w !== width || h !== height) sizes.push(`${svg}: PNG of ${w} × ${h}`);
    const shown = await picture(path.join(folder, svg), { width, height }, format === 'lower-third');
    const share = await unlikeShare(shown, png);
    if (share > MOST_UNLIKE) unlike.push(`${svg}: ${(100 * share).toFixed(2)} % of the squares differ`);
  }
  // The comparison must be able to tell two cards apart.
  const [one, two] = ['verdict-wide.png', 'path-wide.png'].map((file) => readFileSync(path.join(folder, file)));
  if ((await unlikeShare(one, two)) <= MOST_UNLIKE) unlike.push('two different cards count as alike');
  tally.record(`${name}: PNG sizes`, sizes);
  tally.record(`${name}: Chromium shows the SVG as the PNG`, unlike);
}

/**
 * The SVG as Chromium shows it, in a page of its own. On a busy machine Chromium now and then draws no frame for a
 * page, and its picture never comes: it is asked for three times.
 */
async function picture(svg, size, withoutGround) {
  for (let attempt = 1; ; attempt += 1) {
    const page = await browser.newPage({ viewport: size });
    try {
      await page.goto(pathToFileURL(svg).href);
      await page.bringToFront();
      return await page.screenshot({ omitBackground: withoutGround, timeout: 15000 });
    } catch (error) {
      if (attempt === 3 || error.name !== 'TimeoutError') throw error;
    } finally {
      await page.close();
    }
  }
}

/** Compares two PNG pictures in Chromium: the share of squares whose mean brightness differs. */
async function unlikeShare(a, b) {
  const page = await browser.newPage();
  try {
    return await page.evaluate(
      async ([one, two, square, apart]) => {
        const squares = async (data) => {
          const image = new Image();
          image.src = `data:image/png;base64,${data}`;
          await image.decode();
          const canvas = new OffscreenCanvas(image.width, image.height);
          const context = canvas.getContext('2d');
          context.drawImage(image, 0, 0);
          const { data: rgba } = context.getImageData(0, 0, image.width, image.height);
          const across = Math.floor(image.width / square);
          const sums = new Float64Array(across * Math.floor(image.height / square));
          for (let y = 0; y < Math.floor(image.height / square) * square; y += 1)
            for (let x = 0; x < across * square; x += 1) {
              const at = 4 * (y * image.width + x);
              sums[Math.floor(y / square) * across + Math.floor(x / square)] += (rgba[at] + rgba[at + 1] + rgba[at + 2]) / 3;
            }
          return sums.map((sum) => sum / square ** 2);
        };
        const [p, q] = [await squares(one), await squares(two)];
        if (p.length !== q.length || p.length === 0) return 1;
        return p.filter((value, index) => Math.abs(value - q[index]) > apart).length / p.length;
      },
      [a.toString('base64'), b.toString('base64'), SQUARE, MOST_APART],
    );
  } finally {
    await page.close();
  }
}

/** Chromium's own WebVTT parser against the plain list. */
async function chapters(name, folder) {
  const vtt = readFileSync(path.join(folder, 'chapters.vtt'));
  const server = createServer((request, response) => {
    const isTrack = request.url === '/chapters.vtt';
    response.setHeader('Content-Type', isTrack ? 'text/vtt' : 'text/html');
    response.end(isTrack ? vtt : '<!DOCTYPE html><title>t</title><video><track kind="chapters" src="chapters.vtt" default></video>');
  });
  await new Promise((done) => server.listen(0, '127.0.0.1', done));
  const page = await browser.newPage();
  const problems = [];
  try {
    await page.goto(`http://127.0.0.1:${server.address().port}/`);
    const cues = await page.evaluate(async () => {
      const track = document.querySelector('track');
      const ready = new Promise((done, fail) => {
        track.addEventListener('load', done);
        track.addEventListener('error', () => fail(new Error('not WebVTT')));
      });
      track.track.mode = 'hidden';
      if (track.readyState !== 2) await ready;
      return [...track.track.cues].map((cue) => ({ start: cue.startTime, end: cue.endTime, text: cue.getCueAsHTML().textContent }));
    });
    const list = readFileSync(path.join(folder, 'chapters.txt'), 'utf8').trim().split('\n');
    if (cues.length !== list.length) problems.push(`${cues.length} cues, ${list.length} lines`);
    cues.forEach((cue, index) => {
      const [, time, title] = /^([\d:]+) (.*)$/.exec(list[index] ?? '') ?? [];
      const seconds = (time ?? '').split(':').reduce((sum, part) => 60 * sum + Number(part), 0);
      if (Math.floor(cue.start) !== seconds || cue.text !== title) problems.push(`${JSON.stringify(cue)} is not ${list[index]}`);
      if (index > 0 && cues[index - 1].end !== cue.start) problems.push(`a gap before ${list[index]}`);
    });
  } finally {
    await page.close();
    server.close();
  }
  tally.record(`${name}: chapters as Chromium reads them`, problems);
}

async function paper(name, folder) {
  const page = await browser.newPage();
  await page.goto(pathToFileURL(path.join(folder, 'report/report.html')).href);
  const pdf = path.join(scratch, `${name}.pdf`);
  await page.pdf({ path: pdf, format: 'A4', printBackground: true });
  await page.emulateMedia({ media: 'print' });
  const headings = await page.$$eval('h2, h3, h4', (all) => all.map((h) => h.textContent.trim().replace(/\s+/g, ' ')));
  const hashes = await page.$$eval('.annex .hash', (all) => all.map((h) => h.textContent.trim()));
  const causes = await page.$$eval('.causes article', (all) => all.map((a) => a.innerText.replace(/[\s\u00ad-]/g, '')));
  const small = await page.evaluate((least) => {
    const found = new Set();
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
      const of = node.parentElement;
      if (!node.textContent.trim() || of.closest('svg, style')) continue;
      const pt = 0.75 * parseFloat(getComputedStyle(of).fontSize);
      const allowed = of.closest('.annex') ? least.annex : least.before;
      if (pt < allowed - 0.01) found.add(`${of.tagName.toLowerCase()}.${of.className}: ${pt.toFixed(1)} pt`);
    }
    return [...found];
  }, LEAST_PT);
  await page.close();
  tally.record(`${name}: nothing is printed too small`, small);
  const sheets = Number(/^Pages:\s+(\d+)/m.exec(poppler('pdfinfo', [pdf]).toString())?.[1] ?? 0);
  const texts = Array.from({ length: sheets }, (_, index) =>
    poppler('pdftotext', ['-raw', '-f', String(index + 1), '-l', String(index + 1), pdf, '-']).toString(),
  );
  const before = texts.findIndex((text) => /^Annex$/m.test(text));
  console.log(`        ${name}: ${before} sheets and an annex, ${sheets} sheets in all`);
  tally.record(
    `${name}: number of sheets`,
    before >= 2 && before <= MOST_BEFORE_ANNEX && sheets <= MOST_SHEETS ? [] : [`${before} before the annex, ${sheets} in all`],
  );
  const title = JSON.parse(make(['check', folder, '--format', 'json'])).title;
  const feet = texts.flatMap((text, index) => (text.includes(`${title}. Write-up `) ? [] : [`sheet ${index + 1} does not name the pack`]));
  tally.record(`${name}: each sheet names the pack`, feet);
  const bares = texts.map((text) => text.replace(/[\s\u00ad-]/g, ''));
  // The caption of a photo, and the mark and word of the grade, may stand elsewhere in the text of a sheet.
  const bodies = causes.map((text) => text.replace(/^(Photo\d+)?\W*[A-Z]+(?=[A-Z][a-z])/, ''));
  const broken = bodies.filter((text) => !bares.some((bare) => bare.includes(text.slice(-25)) && bare.includes(text.slice(0, 25))));
  tally.record(`${name}: no cause is broken over two sheets`, broken.map((text) => text.slice(0, 60)));

  const problems = [];
  drawnSheets(pdf, 50).forEach((sheet, index, all) => problems.push(...look(sheet, index, all.length)));
  tally.record(`${name}: every sheet is filled and nothing is cut at an edge`, problems);

  const lost = [];
  const printed = poppler('pdftotext', ['-raw', pdf, '-']).toString();
  const bare = printed.replace(/[\s\u00ad-]/g, '');
  for (const hash of hashes) if (!bare.includes(hash)) lost.push(`hash ${hash}`);
  const view = JSON.parse(make(['check', folder, '--format', 'json']));
  for (const finding of view.findings.filter((f) => f.outcome !== 'meets')) {
    if (!bare.includes(finding.rule.replace(/-/g, ''))) lost.push(`rule ${finding.rule}`);
    if (!bare.includes(finding.statement.replace(/[\s-]/g, ''))) lost.push(`statement ${finding.statement}`);
  }
  for (const finding of view.findings.filter((f) => f.outcome === 'meets')) {
    if (!bare.includes(finding.statement.replace(/[\s-]/g, ''))) lost.push(`met: ${finding.statement}`);
  }
  for (let sheet = 1; sheet <= sheets; sheet += 1)
    if (!printed.includes(`sheet ${sheet} of ${sheets}`)) lost.push(`the number of sheet ${sheet}`);
  if (hashes.length === 0 || view.findings.length === 0) lost.push('nothing to look for');
  tally.record(`${name}: findings, rules and hashes are on paper`, lost);

  // A heading alone at the foot of a sheet or of one of its two columns: nothing but the footer below it.
  const orphans = [];
  for (let sheet = 1; sheet <= sheets; sheet += 1) {
    const boxes = poppler('pdftotext', ['-f', String(sheet), '-l', String(sheet), '-bbox-layout', pdf, '-']).toString();
    const [, width, height] = (/<page width="([\d.]+)" height="([\d.]+)"/.exec(boxes) ?? []).map(Number);
    const lines = [...boxes.matchAll(/<line xMin="([\d.]+)"[^>]*yMax="([\d.]+)">([\s\S]*?)<\/line>/g)]
      .map((m) => ({
        left: Number(m[1]) < 0.48 * width,
        bottom: Number(m[2]),
        text: [...m[3].matchAll(/<word[^>]*>([^<]*)</g)].map((w) => w[1]).join(' '),
      }))
      .filter((line) => line.bottom < height * 0.95)
      .sort((a, b) => a.bottom - b.bottom);
    for (const column of [lines.filter((line) => line.left), lines.filter((line) => !line.left)]) {
      const last = column.at(-1);
      // A column that ends high up ends because the next part begins a sheet.
      if (last && last.bottom > 0.6 * height && headings.includes(last.text)) orphans.push(`"${last.text}" ends a column of sheet ${sheet}`);
    }
  }
  tally.record(`${name}: no heading stands alone at the foot of a sheet`, orphans);
}

/** One printed sheet as a picture. */
function look({ width, height, grey }, index, count) {
  const margin = Math.floor((MARGIN_MM / 210) * width);
  let lowest = 0;
  let outside = 0;
  // The foot of the sheet holds its number and is not counted.
  for (let y = 0; y < Math.floor(height * 0.945); y += 1)
    for (let x = 0; x < width; x += 1)
      if (grey[y * width + x] < 170) {
        lowest = y;
        if (x < margin || x >= width - margin) outside += 1;
      }
  const problems = [];
  if (outside > 0) problems.push(`sheet ${index + 1}: ${outside} dark dots in the left or right margin`);
  if (index + 1 < count && lowest < LEAST_FILLED * height) problems.push(`sheet ${index + 1} is nearly empty`);
  if (lowest === 0) problems.push(`sheet ${index + 1} is empty`);
  return problems;
}
