// Compares the two example inspections and checks the page as check-pages.mjs checks a write-up: HTML validator,
// axe-core, no sideways scroll on a phone, contrast in light and dark, printed sheets. What a reader must see without
// scrolling is checked besides.
//
//   node tests/browser/check-compare.mjs [compare.html ...]
//
// With UNDERLID_SHOTS=1 screenshots and printed sheets go to target/screenshots. Last line: 'N passed, N failed'.

import { execFileSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import { checkPage } from './lib/checks.mjs';
import { Tally } from './lib/tally.mjs';
import { launch, root, shots } from './lib/tools.mjs';

const EXAMPLES = ['harbour-24-150-rev-a', 'harbour-24-150-rev-b'];
const SCREENS = [
  { width: 390, height: 844 },
  { width: 1280, height: 900 },
];

const tally = new Tally();
const browser = await launch();
const scratch = mkdtempSync(path.join(os.tmpdir(), 'underlid-compare-'));
try {
  const given = process.argv.slice(2).map((file) => path.resolve(file));
  const pages = given.length > 0 ? given : [compare(EXAMPLES), compare([...EXAMPLES, EXAMPLES[0]])];
  if (shots) mkdirSync(shots, { recursive: true });
  for (const [number, file] of pages.entries()) {
    const name = `compare-${number + 1}`;
    const findings = await checkPage(browser, file, { name, shots });
    for (const [check, problems] of findings) tally.record(`${name}: ${check}`, problems);
    tally.record(`${name}: the answer without scrolling`, await answerInSight(file));
    if (number === 0) tally.record(`${name}: one sheet before the annex`, await oneSheet(file));
  }
} finally {
  await browser.close();
  rmSync(scratch, { recursive: true, force: true });
}
tally.close();

/** Writes the comparison of some examples with target/debug/underlid, or the program that UNDERLID names. */
function compare(names) {
  const program = process.env.UNDERLID ?? path.join(root, 'target/debug/underlid');
  if (!existsSync(program)) throw new Error(`${program} is missing: cargo build --release`);
  const to = path.join(scratch, String(names.length));
  const folders = names.map((name) => path.join(root, 'example-inspections', name));
  execFileSync(program, ['compare', ...folders, '--to', to], { stdio: ['ignore', 'ignore', 'pipe'] });
  return path.join(to, 'compare.html');
}

/** Of two inspections everything but the annex stands on the first sheet. */
async function oneSheet(file) {
  const problems = [];
  for (const format of ['A4', 'Letter']) {
    const page = await browser.newPage();
    await page.goto(pathToFileURL(file).href, { waitUntil: 'load' });
    const pdf = path.join(scratch, `${format}.pdf`);
    await page.pdf({ path: pdf, format });
    await page.close();
    const text = execFileSync('pdftotext', ['-f', '2', '-l', '2', pdf, '-']).toString();
    if (!text.trimStart().startsWith('Annex')) problems.push(`${format}: sheet 2 begins with ${text.trim().slice(0, 60)}`);
  }
  return problems;
}

/** What changed in the rating and what explains it must be wholly in sight when the page opens. */
async function answerInSight(file) {
  const problems = [];
  for (const viewport of SCREENS) {
    const context = await browser.newContext({ viewport });
    const page = await context.newPage();
    await page.goto(pathToFileURL(file).href, { waitUntil: 'load' });
    const box = await page.locator('.answer').first().boundingBox();
    if (!box) problems.push('the page has no answer');
    else if (box.y + box.height > viewport.height) {
      problems.push(`at ${viewport.width} px the answer ends at ${Math.round(box.y + box.height)} px`);
    }
    await context.close();
  }
  return problems;
}
