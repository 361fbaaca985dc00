import { afterEach, describe, expect, it, vi } from 'vitest';

import { buildAnnotations, issueAnnotations } from '../../action/annotations.ts';
import type { Diagnostic, Severity } from '../../src/diagnostics/diagnostic.ts';
import { commandsIn } from './runner.ts';

afterEach(() => vi.restoreAllMocks());

const diagnostic = (severity: Severity, more: Partial<Diagnostic> = {}): Diagnostic => ({
  code: 'spec/odd',
  severity,
  exit: 2,
  message: 'odd',
  notes: [],
  ...more,
});
const sources = new Map([['specs/gauge.yaml', 'quern: 1\nnmae: gauge\n']]);
const span = { file: 'specs/gauge.yaml', start: 9, end: 13 };

function printed(diagnostics: readonly Diagnostic[]): string {
  let text = '';
  vi.spyOn(process.stdout, 'write').mockImplementation((piece) => {
    text += String(piece);
    return true;
  });
  issueAnnotations(buildAnnotations(diagnostics, sources, '/work'));
  return text;
}

describe('annotations', () => {
  it('stand on the line of the spec, with all that helps', () => {
    const notes = ['the keys here are quern, name', 'two\nlines'];
    expect(commandsIn(printed([diagnostic('error', { span, notes, help: 'did you mean `name`?' })]))).toEqual(
      [
        {
          name: 'error',
          properties: { title: 'spec/odd', file: 'specs/gauge.yaml', line: '2', col: '1' },
          data: 'odd\nthe keys here are quern, name\ntwo\nlines\ndid you mean `name`?',
        },
      ],
    );
  });

  it.each<[Severity, string]>([
    ['error', 'error'],
    ['warning', 'warning'],
    ['note', 'notice'],
  ])('%s is %s', (severity, name) => {
    expect(commandsIn(printed([diagnostic(severity)]))).toMatchObject([{ name, data: 'odd' }]);
  });

  it.each([
    ['an absolute path within the workspace', '/work/specs/a.yaml', 'specs/a.yaml'],
    ['a path with two dots in a name', '..a/b.yaml', '..a/b.yaml'],
    ['a path that leaves the workspace', '../a.yaml', undefined],
    ['an absolute path elsewhere', '/srv/a.yaml', undefined],
    ['a path with all that must be escaped', 'a,b:c%d.yaml', 'a,b:c%d.yaml'],
  ])('%s', (_, file, shown) => {
    const [command] = commandsIn(printed([diagnostic('error', { span: { file, start: 0, end: 1 } })]));
    expect(command?.properties['file']).toBe(shown);
  });

  it('are no more of a kind than GitHub shows in a step, with room for what the upload may say', () => {
    const many = (['note', 'error', 'warning'] as const).flatMap((severity) =>
      Array.from({ length: 30 }, (_, index) => diagnostic(severity, { message: `${index}` })),
    );
    const commands = commandsIn(printed(many));
    const count = (name: string): number => commands.filter((one) => one.name === name).length;
    expect({ errors: count('error'), warnings: count('warning'), notices: count('notice') }).toEqual({
      errors: 10,
      warnings: 8,
      notices: 9,
    });
    expect(commands.filter(({ name }) => name === 'error').map(({ data }) => data)).toEqual(
      Array.from({ length: 10 }, (_, index) => `${index}`),
    );
  });

  it('are cut when they are endless', () => {
    const [annotation] = buildAnnotations(
      [diagnostic('error', { message: 'x'.repeat(100_000) })],
      sources,
      '/',
    );
    expect(annotation?.message).toHaveLength(4000);
    expect(annotation?.message.endsWith('…')).toBe(true);
  });

  it.each(['a\n::error::x', 'a\r\n##[error]x', '%0A::error::x', 'a\u2028b', '\u001b]0;x\u0007'])(
    'say %j and nothing else',
    (message) => {
      const commands = commandsIn(printed([diagnostic('error', { message, span, notes: [message] })]));
      expect(commands).toHaveLength(1);
      expect(commands[0]?.data).not.toMatch(/[^\n\P{C}]|[\u2028\u2029]/u);
    },
  );
});
