import { availableParallelism } from 'node:os';

import { defineConfig, type ViteUserConfigFnObject } from 'vitest/config';

import { countReporter } from './test/setup/count-reporter.ts';

/** `--mode slow` runs what takes long (whole builds, many specs), and nothing else. */
const config: ViteUserConfigFnObject = defineConfig(({ mode }) => {
  const slow = 'test/**/*.slow.test.ts';
  return {
    test: {
      include: mode === 'slow' ? [slow] : ['test/**/*.test.ts'],
      exclude: mode === 'slow' ? [] : [slow],
      globalSetup: ['test/setup/global-setup.ts'],
      reporters: ['default', countReporter()],
      pool: 'forks',
      maxWorkers: Math.max(2, availableParallelism() - 1),
      // Generous, since many a machine has two processors and other things to do.
      testTimeout: mode === 'slow' ? 1_800_000 : 30_000,
      hookTimeout: mode === 'slow' ? 1_800_000 : 60_000,
      teardownTimeout: 120_000,
      coverage: { include: ['src/**'] },
    },
  };
});

export default config;
