// Opens write-ups in Chromium and checks what a reader meets: on a phone, on a desktop, in the dark, on paper.
//
//   node tests/browser/check-pages.mjs [FILE.html ...]
//
// Without files it first proves on planted faults that every check catches what it is there for, then makes the
// write-ups of both example inspections with target/debug/underlid, or the program that UNDERLID names, from copies in a temporary folder, and checks
// those. With UNDERLID_SHOTS=1 screenshots and printed sheets go to target/screenshots. Last line: 'N passed, N failed'.

import { execFileSync } from 'node:child_process';
import { cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import { faults } from './fixtures/faults.mjs';
import { checkPage } from './lib/checks.mjs';
import { Tally } from './lib/tally.mjs';
import { launch, root, shots } from './lib/tools.mjs';

const EXAMPLES = ['harbour-24-150-rev-a', 'harbour-24-150-rev-b'];
/** Pages to write on: the name, and how they are printed. */
const FORMS = [
  ['form-drop-in', ['checklist', 'drop-in']],
  ['form-rack', ['checklist', 'rack']],
  ['form-self-built', ['checklist', 'self-built']],
  ['form-plan', ['plan', '--format', 'html', path.join(root, 'example-inspections/harbour-24-150-rev-a')]],
];

const tally = new Tally();
const browser = await launch();
const scratch = mkdtempSync(path.join(os.tmpdir(), 'underlid-pages-'));
try {
  const given = process.argv.slice(2);
  let pages;
  if (given.length > 0) {
    pages = given.map((file) => ({ name: path.basename(file).replace(/\.html?$/, ''), file: path.resolve(file) }));
  } else {
    await proveChecks();
    pages = [...EXAMPLES.map(writeUp), ...FORMS.map(form)];
  }
  if (shots) mkdirSync(shots, { recursive: true });
  for (const { name, file, problem } of pages) {
    if (problem) {
      tally.record(`${name}: write-up made`, [problem]);
      continue;
    }
    const findings = await checkPage(browser, file, { name, shots });
    for (const [check, problems] of findings) tally.record(`${name}: ${check}`, problems);
    if (name.startsWith('form-') && name !== 'form-plan') await sheetsToThePath(name, file);
  }
} finally {
  await browser.close();
  rmSync(scratch, { recursive: true, force: true });
}
tally.close();

/** The sound page passes every check, and each fault planted in it is caught by the check that is there for it. */
async function proveChecks() {
  const sound = path.join(root, 'tests/browser/fixtures/sound.html');
  const source = readFileSync(sound, 'utf8');
  const findings = await checkPage(browser, sound);
  for (const [check, problems] of findings) tally.record(`sound page: ${check}`, problems);
  const proved = new Set();
  for (const fault of faults) {
    const file = path.join(scratch, 'faulty.html');
    const faulty = fault.plant(source);
    if (faulty === source) {
      tally.record(`planted: ${fault.name}`, ['the fault could not be planted']);
      continue;
    }
    writeFileSync(file, faulty);
    const found = (await checkPage(browser, file, { only: fault.caughtBy, says: fault.says })).get(fault.caughtBy) ?? [];
    const caught = found.some((problem) => fault.says.test(problem));
    if (caught) proved.add(fault.caughtBy);
    tally.record(`planted: ${fault.name}`, caught ? [] : [`${fault.caughtBy} did not say ${fault.says}`, ...found]);
  }
  const unproved = [...findings.keys()].filter((check) => !proved.has(check));
  tally.record('every check has caught a fault', unproved.map((check) => `${check} has not`));
}

/** First look and path, that is everything up to the legs of the path, take four sheets at most. */
async function sheetsToThePath(name, file) {
  const page = await browser.newPage();
  await page.goto(pathToFileURL(file).href);
  const next = await page.$eval('section.path + section h2', (h2) => h2.textContent.trim());
  for (const format of ['A4', 'Letter']) {
    const pdf = path.join(scratch, `${name}-${format}.pdf`);
    await page.pdf({ path: pdf, format, printBackground: true });
    const sheets = execFileSync('pdftotext', ['-layout', pdf, '-']).toString().split('\f');
    const before = sheets.findIndex((sheet) => sheet.split('\n').some((line) => line.trim() === next));
    tally.record(`${name}: first look and path on four sheets of ${format}`, before > 0 && before <= 4 ? [] : [`${before} sheets before "${next}"`]);
  }
  await page.close();
}

/** Prints a page to write on. */
function form([name, command]) {
  const file = path.join(scratch, `${name}.html`);
  const program = process.env.UNDERLID ?? path.join(root, 'target/debug/underlid');
  try {
    writeFileSync(file, execFileSync(program, command));
  } catch (error) {
    return { name, problem: String(error) };
  }
  return { name, file };
}

/** Makes the write-up of an example from a copy: the repository's own folders stay as they are. */
function writeUp(example) {
  const folder = path.join(scratch, example);
  const program = process.env.UNDERLID ?? path.join(root, 'target/debug/underlid');
  if (!existsSync(program)) return { name: example, problem: `${program} is missing: cargo build --release` };
  cpSync(path.join(root, 'example-inspections', example), folder, { recursive: true });
  rmSync(path.join(folder, 'report'), { recursive: true, force: true });
  try {
    execFileSync(program, ['report', folder], { stdio: ['ignore', 'ignore', 'pipe'] });
  } catch (error) {
    // 1 says that something falls short; the write-up is made all the same.
    if (error.status !== 1) return { name: example, problem: `underlid report: ${error.stderr ?? error}` };
  }
  const file = path.join(folder, 'report/report.html');
  if (!existsSync(file)) return { name: example, problem: 'underlid report wrote no report/report.html' };
  return { name: example, file };
}
