import { writeFileSync } from 'node:fs';

import type { Reporter, TestModule } from 'vitest/node';

interface Count {
  readonly passed: number;
  readonly failed: number;
  readonly skipped: number;
}

/**
 * Says `N passed, N failed` as the very last thing, also when the run breaks off. The line goes to the file that
 * QUERN_TEST_COUNT_FILE names, for a caller who wants to print it after everything else, or else to standard output.
 */
export function countReporter(): Reporter {
  let count: Count = { passed: 0, failed: 0, skipped: 0 };
  return {
    onInit() {
      process.once('exit', (code) => {
        writeFileSync(process.env['QUERN_TEST_COUNT_FILE'] ?? 1, `${formatCount(count, code)}\n`);
      });
    },
    onTestRunEnd(modules, unhandledErrors) {
      count = countTests(modules, unhandledErrors.length);
    },
  };
}

function countTests(modules: readonly TestModule[], unhandledErrors: number): Count {
  let { passed, failed, skipped } = { passed: 0, failed: unhandledErrors, skipped: 0 };
  for (const module of modules) {
    const failedBefore = failed;
    for (const test of module.children.allTests()) {
      const { state } = test.result();
      if (state === 'passed') passed += 1;
      else if (state === 'skipped') skipped += 1;
      // A test that was still waiting when the run broke off has not passed.
      else failed += 1;
    }
    // The file itself: it does not load, or a hook of it throws.
    if (module.state() === 'failed' && failed === failedBefore) failed += 1;
  }
  return { passed, failed, skipped };
}

/** A run that ends badly has failed, even when no test is to blame. */
export function formatCount({ passed, failed, skipped }: Count, exitCode: number): string {
  const failures = exitCode !== 0 && failed === 0 ? 1 : failed;
  return `${passed} passed, ${failures} failed${skipped > 0 ? `, ${skipped} skipped` : ''}`;
}
