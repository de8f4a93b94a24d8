// The checks of one HTML page: as a phone and a desktop show it, light and dark, and as it is printed.
//
// Each check has a short name; fixtures/faults.mjs proves for each that it catches the fault it is there for.

import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import htmlValidateConfig from '../html-validate.mjs';
import * as inPage from './in-page.mjs';
import { drawnSheets } from './sheets.mjs';
import { poppler, tool } from './tools.mjs';

const SCREENS = [
  { width: 390, height: 844 },
  { width: 1280, height: 900 },
];
const SCHEMES = ['light', 'dark'];
/** The narrowest window that WCAG 2.2, success criterion 1.4.10 (reflow), asks for, in CSS pixels. */
const REFLOW_WIDTH = 320;
const PAPERS = [
  { format: 'A4', widthMm: 210 },
  { format: 'Letter', widthMm: 215.9 },
];
/** A write-up of more sheets than this is not a write-up that anyone prints. */
const MOST_SHEETS = 40;
/** Pictures of printed sheets are looked at in this resolution, in dots per inch. */
const SHEET_DPI = 40;
/** Nothing may be printed closer to the edge than most office printers reach. Common practice, no source. */
const UNPRINTABLE_MM = 4;

/** What one page did wrong: a map from the check's name to its list of problems. */
export class Findings extends Map {
  /** Adds problems to a check; a check with an empty list has been made and has passed. */
  add(check, problems) {
    this.set(check, [...(this.get(check) ?? []), ...problems]);
  }
}

/**
 * Makes every check of one page, or with `only` those that bear on the one check named, until one says `says`.
 * `shots` is the folder for screenshots (none are kept without it), `name` the beginning of their names.
 */
export async function checkPage(browser, file, { name, shots, only, says } = {}) {
  const findings = new Findings();
  const caught = () => says && (findings.get(only) ?? []).some((problem) => says.test(problem));
  const shot = shots && path.join(shots, name);
  const kind = only === 'print' || only === 'valid-html' ? only : only && 'screen';
  if (!kind || kind === 'valid-html') findings.add('valid-html', await validHtml(file));
  if (!kind || kind === 'screen') {
    for (const screen of SCREENS) if (!caught()) await onScreen(browser, file, screen, findings, { shot, caught });
  }
  if (!kind || kind === 'print') await onPaper(browser, file, findings, { shot, caught });
  return findings;
}

async function validHtml(file) {
  const { HtmlValidate, StaticConfigLoader } = tool('html-validate');
  const validator = new HtmlValidate(new StaticConfigLoader(htmlValidateConfig));
  const report = await validator.validateString(readFileSync(file, 'utf8'), file);
  return report.results.flatMap((result) =>
    result.messages.map((m) => `line ${m.line}, column ${m.column}: ${m.message} (${m.ruleId})`),
  );
}

/** Opens the page and watches what it asks for and what it complains of. */
async function open(browser, file, options, findings) {
  const context = await browser.newContext(options);
  const page = await context.newPage();
  const url = pathToFileURL(file).href;
  const requests = [];
  const complaints = [];
  await context.route('**/*', (route) => {
    const wanted = route.request().url();
    if (wanted === url || wanted.startsWith('data:')) return route.continue();
    requests.push(`asks for ${wanted}`);
    return route.abort();
  });
  page.on('console', (message) => {
    if (message.type() === 'error') complaints.push(message.text());
  });
  page.on('pageerror', (error) => complaints.push(String(error)));
  await page.goto(url, { waitUntil: 'load' });
  findings.add('self-contained', requests);
  findings.add('console', complaints);
  return { context, page };
}

async function onScreen(browser, file, screen, findings, { shot, caught }) {
  const options = { viewport: screen, isMobile: screen.width < 600, hasTouch: screen.width < 600 };
  const { context, page } = await open(browser, file, options, findings);
  let scheme;
  const as = (colorScheme) => page.emulateMedia({ colorScheme: (scheme = colorScheme) });
  const add = (check, problems) => findings.add(check, problems.map((p) => `at ${screen.width} px, ${scheme}: ${p}`));
  try {
    // Folded, as the page opens, then with everything unfolded.
    for (const colorScheme of SCHEMES) {
      await as(colorScheme);
      if (shot) await page.screenshot({ path: `${shot}-${screen.width}-${colorScheme}.png`, fullPage: true });
      add('no-sideways-scroll', await page.evaluate(inPage.sidewaysScroll));
    }
    await page.evaluate(inPage.unfold);
    for (const colorScheme of SCHEMES) {
      if (caught()) return;
      await as(colorScheme);
      await page.setViewportSize(screen);
      add('no-sideways-scroll', await page.evaluate(inPage.sidewaysScroll));
      add('headings', await page.evaluate(inPage.headings));
      add('pictures', await page.evaluate(inPage.pictures));
      add('svg-contrast', await page.evaluate(inPage.svgContrast));
      add('svg-text-size', await page.evaluate(inPage.svgTextSize));
      const { grave, contrast } = await axe(page);
      add('axe', grave);
      add('contrast', contrast);
      if (screen.width < 600) {
        await page.setViewportSize({ width: REFLOW_WIDTH, height: screen.height });
        add('no-sideways-scroll', (await page.evaluate(inPage.sidewaysScroll)).map((p) => `reflow: ${p}`));
      }
    }
  } finally {
    await context.close();
  }
}

/**
 * Runs axe-core in the page. It is handed over as source text, not as a script element: a page's own
 * Content-Security-Policy forbids scripts, and it stays in force.
 */
async function axe(page) {
  if (!(await page.evaluate(() => 'axe' in window))) await page.evaluate(tool('axe-core').source);
  const result = await page.evaluate(() =>
    window.axe.run(document, {
      // Off by default in axe-core: targets of at least 24 px, WCAG 2.2, success criterion 2.5.8.
      rules: { 'target-size': { enabled: true } },
      resultTypes: ['violations'],
    }),
  );
  const lines = (violation) =>
    violation.nodes.map((node) => `${violation.id} (${violation.impact}): ${node.target.join(' ')}: ${violation.help}`);
  const grave = result.violations.filter((v) => v.impact === 'serious' || v.impact === 'critical');
  return {
    grave: grave.filter((v) => v.id !== 'color-contrast').flatMap(lines),
    contrast: result.violations.filter((v) => v.id === 'color-contrast').flatMap(lines),
  };
}

async function onPaper(browser, file, findings, { shot, caught }) {
  const { context, page } = await open(browser, file, {}, findings);
  const folder = mkdtempSync(path.join(os.tmpdir(), 'underlid-print-'));
  // What is the same to the last byte is looked at once.
  const seen = new Map();
  try {
    for (const paper of PAPERS) {
      // A reader in dark mode prints too; the sheet must come out light.
      for (const colorScheme of SCHEMES) {
        if (caught()) return;
        const pdf = path.join(folder, `${paper.format}-${colorScheme}.pdf`);
        await page.emulateMedia({ colorScheme });
        await page.pdf({ path: pdf, format: paper.format, printBackground: true, preferCSSPageSize: false });
        const drawn = readFileSync(pdf, 'latin1').replace(/\/(CreationDate|ModDate) \([^)]*\)/g, '');
        if (!seen.has(drawn)) seen.set(drawn, sheetProblems(pdf, paper));
        findings.add('print', seen.get(drawn).map((p) => `${paper.format}, ${colorScheme}: ${p}`));
        if (shot && colorScheme === 'light') {
          mkdirSync(path.dirname(shot), { recursive: true });
          writeFileSync(`${shot}-${paper.format}.pdf`, readFileSync(pdf));
          poppler('pdftoppm', ['-r', '60', '-png', pdf, `${shot}-${paper.format}`]);
        }
      }
    }
  } finally {
    rmSync(folder, { recursive: true, force: true });
    await context.close();
  }
}

/** Looks at every printed sheet as a picture. */
function sheetProblems(pdf, paper) {
  const problems = [];
  const pages = Number(/^Pages:\s+(\d+)/m.exec(poppler('pdfinfo', [pdf]).toString())?.[1] ?? 0);
  if (pages < 1 || pages > MOST_SHEETS) problems.push(`${pages} sheets, 1 to ${MOST_SHEETS} expected`);
  const drawn = drawnSheets(pdf, SHEET_DPI);
  if (drawn.length !== pages) problems.push(`${drawn.length} sheets could be drawn of ${pages}`);
  drawn.forEach((sheet, index) => {
    for (const problem of look(sheet, paper)) problems.push(`sheet ${index + 1}: ${problem}`);
  });
  return problems;
}

function look({ width, height, grey }, paper) {
  const problems = [];
  let ink = 0;
  let sum = 0;
  let nearEdge = 0;
  const edge = Math.floor((UNPRINTABLE_MM / paper.widthMm) * width);
  for (let y = 0; y < height; y += 1) {
    for (let x = 0; x < width; x += 1) {
      const value = grey[y * width + x];
      sum += value;
      if (value < 160) {
        ink += 1;
        if (x < edge || x >= width - edge) nearEdge += 1;
      }
    }
  }
  const mean = sum / (width * height);
  if (ink < 0.0005 * width * height) problems.push('blank');
  if (mean < 128) problems.push(`a dark ground (mean brightness ${Math.round(mean)} of 255)`);
  else if (nearEdge > 0) problems.push(`${nearEdge} dark dots closer than ${UNPRINTABLE_MM} mm to the left or right edge`);
  return problems;
}
