// Counts what passed and what failed, and says so in the closing line that tests/run reads.

export class Tally {
  passed = 0;
  failed = 0;

  /** One check: it passes when its list of problems is empty. */
  record(name, problems) {
    if (problems.length === 0) {
      this.passed += 1;
      console.log(`ok      ${name}`);
      return;
    }
    this.failed += 1;
    console.log(`FAILED  ${name}`);
    for (const problem of problems.slice(0, 12)) console.log(`        ${problem}`);
    if (problems.length > 12) console.log(`        and ${problems.length - 12} more`);
  }

  /** Prints the closing line and sets the exit status. A run that checked nothing has failed. */
  close() {
    if (this.passed + this.failed === 0) this.record('at least one check', ['nothing was checked']);
    console.log(`${this.passed} passed, ${this.failed} failed`);
    process.exitCode = this.failed === 0 ? 0 : 1;
  }
}
