import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { expect, it } from 'vitest';

import { arHeaderSize, arMagic, readArHeader } from '../../src/archive/ar.ts';

// GNU binutils' ar, with numbers that do not depend on the machine (D), is what dpkg-deb's archives look like
it('reads the headers that ar writes', () => {
  const folder = mkdtempSync(join(tmpdir(), 'quern-ar-'));
  try {
    writeFileSync(join(folder, 'debian-binary'), '2.0\n');
    writeFileSync(join(folder, 'data.tar.xz'), 'x'.repeat(1235));
    execFileSync('ar', ['qcD', 'a.deb', 'debian-binary', 'data.tar.xz'], { cwd: folder });
    const bytes = readFileSync(join(folder, 'a.deb'));
    expect(bytes.toString('latin1', 0, arMagic.length)).toBe(arMagic);
    const first = readArHeader(bytes.subarray(8));
    expect(first).toEqual({ name: 'debian-binary', size: 4 });
    expect(readArHeader(bytes.subarray(8 + arHeaderSize + 4))).toEqual({ name: 'data.tar.xz', size: 1235 });
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
});

const header = (size: string, end = '`\n'): Uint8Array =>
  Buffer.from(
    `${'data.tar.xz'.padEnd(16)}${'0'.padEnd(12)}${'0'.padEnd(12)}${'100644'.padEnd(8)}${size.padEnd(10)}${end}`,
  );

it.each<[string, Uint8Array]>([
  ['nothing', new Uint8Array()],
  ['half a header', header('12').subarray(0, 40)],
  ['another end', header('12', 'xx')],
  ['a size that is no number', header('0x12')],
  ['a negative size', header('-12')],
  ['no size', header('')],
])('sees no header in %s', (_, bytes) => {
  expect(readArHeader(bytes)).toBeUndefined();
});
