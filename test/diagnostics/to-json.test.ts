import { expect, test } from 'vitest';
import type { Diagnostic } from '../../src/diagnostics/diagnostic.ts';
import { toJson } from '../../src/diagnostics/to-json.ts';

test('toJson puts line and column in place of offsets and leaves out what is not known', () => {
  const one: Diagnostic = {
    code: 'spec/bad-value',
    severity: 'error',
    exit: 2,
    message: 'no',
    span: { file: 'gauge.yaml', start: 5, end: 6 },
    notes: ['why'],
    help: 'do',
  };
  const elsewhere: Diagnostic = { code: 'a/b', severity: 'note', exit: 0, message: 'm', notes: [] };
  expect(toJson([one, elsewhere], new Map([['gauge.yaml', 'a: b\nc']]))).toEqual([
    {
      code: 'spec/bad-value',
      severity: 'error',
      message: 'no',
      file: 'gauge.yaml',
      line: 2,
      column: 1,
      notes: ['why'],
      help: 'do',
    },
    { code: 'a/b', severity: 'note', message: 'm', notes: [] },
  ]);
  expect(toJson([one], new Map())[0]).not.toHaveProperty('line');
  expect(JSON.parse(JSON.stringify(toJson([one], new Map())))).toEqual(toJson([one], new Map()));
});
