import type { Reporter, TestModule } from "vitest/node";

/** Ends a test run with one plain line, "N passed, N failed, N skipped", that a machine can read. */
export default class ClosingLine implements Reporter {
  onTestRunEnd(modules: readonly TestModule[]): void {
    const count = { passed: 0, failed: 0, skipped: 0, pending: 0 };
    let broken = 0;
    for (const module of modules) {
      if (module.errors().length > 0) broken++;
      for (const test of module.children.allTests()) count[test.result().state]++;
    }
    console.log(`\n${count.passed} passed, ${count.failed + broken} failed, ${count.skipped + count.pending} skipped`);
  }
}
