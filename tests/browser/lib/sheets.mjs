// Printed sheets as pictures.

import { mkdtempSync, readFileSync, readdirSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { poppler } from './tools.mjs';

/**
 * Every sheet of a PDF in order, in shades of grey: width and height in pixels, and one byte a pixel, 0 black. They are
 * drawn in colour and made grey here: pdftoppm's own greys take ten times as long for a sheet with photos.
 */
export function drawnSheets(pdf, dpi) {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'underlid-sheets-'));
  try {
    poppler('pdftoppm', ['-r', String(dpi), pdf, path.join(folder, 'sheet')]);
    return readdirSync(folder)
      .sort()
      .map((file) => readPpm(readFileSync(path.join(folder, file))));
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** Reads a binary PPM, the plain format that pdftoppm writes, as luma after ITU-R BT.601. */
function readPpm(bytes) {
  const header = /^P6\s+(\d+)\s+(\d+)\s+255\s/.exec(bytes.subarray(0, 64).toString('latin1'));
  if (!header) throw new Error('pdftoppm wrote something other than a PPM');
  const [width, height] = [Number(header[1]), Number(header[2])];
  const at = header[0].length;
  const grey = new Uint8Array(width * height);
  for (let i = 0; i < grey.length; i += 1) {
    const [r, g, b] = [bytes[at + 3 * i], bytes[at + 3 * i + 1], bytes[at + 3 * i + 2]];
    grey[i] = Math.round(0.299 * r + 0.587 * g + 0.114 * b);
  }
  return { width, height, grey };
}
