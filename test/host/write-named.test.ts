import { spawn } from 'node:child_process';
import {
  lstatSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { execFileSync } from 'node:child_process';
import { text } from 'node:stream/consumers';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { writeNamed } from '../../src/host/output-folder.ts';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync('/tmp/quern-named-');
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const at = (name: string): string => join(folder, name);

describe('writeNamed', () => {
  it('writes a new file, and over an old one', async () => {
    await writeNamed(at('tide'), 'low', []);
    await writeNamed(at('tide'), 'high', []);
    expect(readFileSync(at('tide'), 'utf8')).toBe('high');
    expect(readdirSync(folder)).toEqual(['tide']);
  });

  it('writes through a link, which stays one', async () => {
    writeFileSync(at('tide'), 'low');
    symlinkSync('tide', at('link'));
    await writeNamed(at('link'), 'high', []);
    expect(lstatSync(at('link')).isSymbolicLink()).toBe(true);
    expect(readFileSync(at('tide'), 'utf8')).toBe('high');
  });

  it('writes into a pipe as it is', async () => {
    execFileSync('mkfifo', [at('pipe')]);
    const reader = spawn('cat', [at('pipe')]);
    const [read] = await Promise.all([text(reader.stdout), writeNamed(at('pipe'), 'high', [])]);
    expect(read).toBe('high');
    expect(lstatSync(at('pipe')).isFIFO()).toBe(true);
  });

  it('writes into a device as it is', async () => {
    symlinkSync('/dev/null', at('null'));
    await writeNamed(at('null'), 'high', []);
    expect(lstatSync('/dev/null').isCharacterDevice()).toBe(true);
    symlinkSync('/dev/full', at('full'));
    await expect(writeNamed(at('full'), 'high', [])).rejects.toMatchObject({
      diagnostics: [{ code: 'host/output-not-writable', exit: 3 }],
    });
  });

  it('writes over nothing that the content was made of, by whatever name', async () => {
    writeFileSync(at('spec.yaml'), 'quern: 1');
    symlinkSync('spec.yaml', at('link'));
    for (const name of ['spec.yaml', 'link']) {
      await expect(writeNamed(at(name), 'high', [at('spec.yaml')])).rejects.toMatchObject({
        diagnostics: [{ code: 'host/output-is-input', exit: 2 }],
      });
    }
    expect(readFileSync(at('spec.yaml'), 'utf8')).toBe('quern: 1');
  });

  it('says what a name leads to that no file can have', async () => {
    mkdirSync(at('folder'));
    await expect(writeNamed(at('folder'), 'high', [])).rejects.toThrow('is a folder');
    await expect(writeNamed(at('none/tide'), 'high', [])).rejects.toThrow('there is no such folder');
    expect(readdirSync(folder)).toEqual(['folder']);
  });
});
