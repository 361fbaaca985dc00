import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import fc from 'fast-check';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import { formatProbes, loadProbes, saveProbes } from '../../src/source/probe-file.ts';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'quern-probe-file-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const byte = fc.integer({ min: 1, max: 255 }).map((code) => String.fromCharCode(code));
const text = fc.string({ unit: byte, maxLength: 30 });

describe('a file of probes', () => {
  it('is JSON, an answer a line, sorted by command', async () => {
    const path = join(folder, 'p.json');
    const answers = new Map([
      ['{ test "$x"; } && echo y', 'y'],
      ['./scripts/cc-version.sh gcc', 'GCC 120200'],
    ]);
    await saveProbes(path, { arch: 'x86_64', kernelVersion: '6.1.9', answers });
    expect(readFileSync(path, 'utf8')).toBe(`{
  "probes": 1,
  "arch": "x86_64",
  "kernelVersion": "6.1.9",
  "answers": {
    "./scripts/cc-version.sh gcc": "GCC 120200",
    "{ test \\"$x\\"; } && echo y": "y"
  }
}
`);
  });

  it('comes back as it was, whatever bytes are in it', async () => {
    const path = join(folder, 'p.json');
    await fc.assert(
      fc.asyncProperty(
        fc.array(
          fc.tuple(
            text.filter((one) => one !== '' && one !== '__proto__'),
            text,
          ),
        ),
        async (list) => {
          const answers = new Map(list);
          writeFileSync(path, formatProbes({ arch: 'arm64', kernelVersion: '7.3.4', answers }));
          const read = await loadProbes(path);
          expect(new Map(read.answers)).toEqual(answers);
          expect(read).toMatchObject({ arch: 'arm64', kernelVersion: '7.3.4' });
        },
      ),
      { numRuns: 60 },
    );
  });

  it.each<[string, string, string]>([
    ['no JSON', 'otters', 'JSON'],
    ['another thing', '[]', 'expected object'],
    ['another version', '{"probes":2,"arch":"x86_64","kernelVersion":"","answers":{}}', 'probes'],
    ['a key too many', '{"probes":1,"arch":"x86_64","kernelVersion":"","answers":{},"more":1}', 'more'],
    [
      'an answer that is no text',
      '{"probes":1,"arch":"x86_64","kernelVersion":"","answers":{"x":1}}',
      'answers / x',
    ],
    [
      'a zero byte',
      '{"probes":1,"arch":"x86_64","kernelVersion":"","answers":{"x":"\\u0000"}}',
      'bytes only',
    ],
    [
      'a character that is no byte',
      '{"probes":1,"arch":"x86_64","kernelVersion":"","answers":{"x":"\\u20ac"}}',
      'bytes only',
    ],
    [
      'an architecture that is none',
      '{"probes":1,"arch":"x86 64","kernelVersion":"","answers":{}}',
      'one word',
    ],
  ])('is refused when it is %s', async (_, content, why) => {
    const path = join(folder, 'p.json');
    writeFileSync(path, content);
    const error: unknown = await loadProbes(path).catch((reason: unknown) => reason);
    if (!(error instanceof Failure)) throw new Error('no failure');
    expect(error.diagnostics).toMatchObject([{ code: 'kconfig/bad-probe-file', exit: 4 }]);
    expect(error.diagnostics[0]?.notes.join()).toContain(why);
  });

  it('that is not there is said to be so', async () => {
    await expect(loadProbes(join(folder, 'none.json'))).rejects.toThrow('there is no such file');
  });
});
