// Where the browser checks find what tests/run installs, and how Chromium is started.
//
// Chromium is Debian's own, the one without windows if it is there: it takes three quarters of the other's processor
// time. playwright-core drives it and downloads none. A tool that is missing ends the program: a check that is skipped
// proves nothing.

import { createRequire } from 'node:module';
import { execFileSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';

export const root = path.resolve(path.dirname(fileURLToPath(import.meta.url)), '../../..');

/** Where pictures for people go, if UNDERLID_SHOTS asks for them: no check needs them. */
export const shots = process.env.UNDERLID_SHOTS && path.join(root, 'target/screenshots');

const installed = createRequire(path.join(root, '.cache/tools/package.json'));

/** An npm package of tests/tools/package.json. */
export function tool(name) {
  try {
    return installed(name);
  } catch (error) {
    throw new Error(`${name} is not installed (${error.code}): run \`bash tests/run\`, which installs it`);
  }
}

// Without the flags against background networking Chromium talks to its maker at every start.
const FLAGS = [
  '--disable-gpu',
  '--disable-quic',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
  '--force-color-profile=srgb',
];

const PROGRAMS = ['/usr/bin/chromium-headless-shell', '/usr/bin/chromium'];

/** Starts Debian's Chromium, or the one that CHROMIUM names. */
export async function launch() {
  const executablePath = process.env.CHROMIUM ?? PROGRAMS.find((program) => existsSync(program));
  if (!executablePath || !existsSync(executablePath)) {
    throw new Error(`${executablePath ?? PROGRAMS.join(' and ')} is missing: run \`bash tests/run\`, which installs it`);
  }
  return tool('playwright-core').chromium.launch({ executablePath, args: FLAGS, chromiumSandbox: false });
}

/** Runs a program of poppler-utils and returns what it printed. */
export function poppler(program, args) {
  return execFileSync(program, args, { maxBuffer: 1 << 28 });
}
