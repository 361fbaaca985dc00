import { expect } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import type { Diagnostic } from '../../src/diagnostics/diagnostic.ts';

/** The first thing that is said by work that has to fail, which must say what to do as well. */
export async function failureOf(work: Promise<unknown>): Promise<Diagnostic> {
  const error = await work.then(
    () => undefined,
    (reason: unknown) => reason,
  );
  const [first] = error instanceof Failure ? error.diagnostics : [];
  if (!first) throw new Error('it was to fail', { cause: error });
  expect(first.help).toMatch(/\w/u);
  return first;
}
