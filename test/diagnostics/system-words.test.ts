/** The codes are those of POSIX.1-2017, <errno.h>; each is brought about by the system itself. */
import { mkdirSync, mkdtempSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { afterAll, beforeAll, describe, expect, it } from 'vitest';

import { refusalWords, wordsOf } from '../../src/diagnostics/system-words.ts';

let folder: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'quern-words-'));
  mkdirSync(join(folder, 'weir'));
  writeFileSync(join(folder, 'level'), '4.20\n');
  symlinkSync('ring', join(folder, 'ring'));
});
afterAll(() => rmSync(folder, { recursive: true }));

function thrownBy(work: () => unknown): unknown {
  try {
    work();
  } catch (error) {
    return error;
  }
  throw new Error('nothing was thrown');
}

describe('what the system says of a path', () => {
  it.each([
    ['no-such', 'there is no such file or folder'],
    ['weir', 'it is a folder'],
    ['level/gauge', 'a part of its path is a file'],
    ['ring', 'its links lead in a circle'],
    ['x'.repeat(300), 'its name is too long'],
  ])('%.10s: %s', (name, words) => {
    const error = thrownBy(() => readFileSync(join(folder, name)));
    expect(wordsOf(error)).toBe(words);
    expect(refusalWords(error)).toBeUndefined();
  });
});

it('a full disk is a refusal, whatever was written', () => {
  // full(4): writing there fails as on a disk without room
  const error = thrownBy(() => writeFileSync('/dev/full', 'level'));
  expect(wordsOf(error)).toBe('no space is left on the disk');
  expect(refusalWords(error)).toBe('no space is left on the disk');
});

it('what is not of the system keeps its own words', () => {
  expect(wordsOf(new Error('the cable is out'))).toBe('the cable is out');
  expect(wordsOf(Object.assign(new Error('the cable is out'), { code: 'ENOENT' }))).toBe('the cable is out');
  expect(wordsOf('the cable is out')).toBe('the cable is out');
  expect(refusalWords(new Error('the cable is out'))).toBeUndefined();
});
