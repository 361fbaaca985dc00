import { expect, test } from 'vitest';
import { compareWithLock } from '../../src/spec/compare-lock.ts';
import { specCodes, type SpecCode } from '../../src/spec/codes.ts';
import { readLock } from '../../src/spec/read-lock.ts';
import { readSpec } from '../../src/spec/read-spec.ts';
import fc from 'fast-check';
import { anyLock } from './any-lock.ts';
import { soundSpec } from './hostile.ts';

function inSpec(search: string, replacement: string): string[] {
  const text = search === '' ? replacement : soundSpec.replace(search, replacement);
  return readSpec(text, 'gauge.yaml').diagnostics.map(({ code }) => code);
}

function inLock(text: string): string[] {
  return readLock(text, 'gauge.lock.json').diagnostics.map(({ code }) => code);
}

/** For each code something that leads to it. */
const reached: Readonly<Record<SpecCode, () => string[]>> = {
  'spec/too-large': () => inSpec('', 'x'.repeat(2 ** 21)),
  'spec/not-text': () => inSpec('gauge', '\0'),
  'spec/yaml': () => inSpec('', '['),
  'spec/yaml-feature': () => inSpec('gauge', '!!str gauge'),
  'spec/empty': () => inSpec('', '# nothing'),
  'spec/documents': () => inSpec('', 'a: 1\n---\na: 1'),
  'spec/not-a-mapping': () => inSpec('', '[]'),
  'spec/duplicate-key': () => inSpec('MODULES: y', 'MODULES: y\n    MODULES: n'),
  'spec/unknown-key': () => inSpec('arch:', 'architecture:'),
  'spec/missing-key': () => inSpec('arch: x86_64', ''),
  'spec/wrong-type': () => inSpec('x86_64\n', 'x86_64\nlocalversion: []\n'),
  'spec/needs-quotes': () => inSpec('"6.1"', '6.1'),
  'spec/bad-value': () => inSpec('x86_64', 'vax'),
  'spec/option-name': () => inSpec('MODULES', 'CONFIG_MODULES'),
  'spec/option-value': () => inSpec('MODULES: y', 'MODULES: true'),
  'spec/option-spelling': () => inSpec('MODULES: y', 'MODULES: yes'),
  'spec/version-mismatch': () => inSpec('"6.1"', '"5.10"'),
  'spec/more-errors': () => inSpec('', Array.from({ length: 200 }, (_, key) => `k${key}: 1`).join('\n')),
  'spec/lock-json': () => inLock('{'),
  'spec/lock-version': () => inLock('{"lock": 2}'),
  'spec/lock-content': () => inLock('{"lock": 1}'),
  'spec/lock-differs': () => {
    const [lock] = fc.sample(anyLock, { numRuns: 1, seed: 1 });
    return lock ? compareWithLock({ ...lock.spec, name: 'other' }, lock).map(({ code }) => code) : [];
  },
};

test.each(Object.keys(specCodes.entries))('%s is reached', (code) => {
  expect(reached[code as SpecCode]()).toContain(code);
});
