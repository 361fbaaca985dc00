import { readFile } from 'node:fs/promises';

import type { TestProject } from 'vitest/node';

import { startEngine, testCache } from './engine.ts';

/** Runs once, before any test; what it puts into the environment reaches the workers. */
export async function setup(project: TestProject): Promise<() => void> {
  process.env['QUERN_TEST_CACHE'] = testCache();
  if (!(await someFileNeedsEngine(project))) return () => undefined;
  const stop = once(startEngine());
  // Ctrl-C ends the process without the teardown.
  process.once('exit', stop);
  return stop;
}

/** Looks at the files that this run is about: an engine for the tests of a lexer would be a waste. */
async function someFileNeedsEngine(project: TestProject): Promise<boolean> {
  const filters = process.argv.slice(2).filter((word) => !word.startsWith('-') && word !== 'run');
  const { testFiles } = await project.globTestFiles(filters);
  // No file matches when a word was the value of an option: then it may be any file.
  const files = testFiles.length > 0 ? testFiles : (await project.globTestFiles()).testFiles;
  const texts = await Promise.all(files.map((file) => readFile(file, 'utf8')));
  return texts.some((text) => text.includes('needEngine'));
}

function once(action: () => void): () => void {
  let done = false;
  return () => {
    if (!done) action();
    done = true;
  };
}
