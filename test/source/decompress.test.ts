import { spawnSync } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';

import { canRead, decompress, type Compression } from '../../src/source/decompress.ts';
import { makeWorld, type World } from '../container/world.ts';
import { xzSync } from './otter-archive.ts';

let world: World;
beforeEach(() => {
  world = makeWorld();
});
afterEach(() => world.remove());

/** Several pieces, and not all alike. */
const content = Buffer.from(Array.from({ length: 300_000 }, (_, place) => `level ${place}\n`).join(''));
const pack: Readonly<Record<Compression, (bytes: Uint8Array) => Uint8Array>> = {
  xz: xzSync,
  gzip: (bytes) => gzipSync(bytes),
  zstd: (bytes) => spawnSync('zstd', ['-q', '-c'], { input: bytes, maxBuffer: 1 << 28 }).stdout,
  none: (bytes) => bytes,
};

async function unpack(bytes: Uint8Array, compression: Compression, most: number): Promise<Buffer> {
  const path = join(world.folder, 'packed');
  writeFileSync(path, bytes);
  const chunks: Uint8Array[] = [];
  for await (const chunk of decompress(path, compression, most)) chunks.push(chunk);
  return Buffer.concat(chunks);
}

/** A machine without the program xz has no folder for programs here. */
const withoutPrograms = (): void => void vi.stubEnv('PATH', '/nowhere');
afterEach(() => {
  vi.unstubAllEnvs();
});

const readable = (['xz', 'gzip', 'zstd', 'none'] as const).filter(canRead);

describe.each<[string, Compression, () => void]>([
  ...readable.map((one): [string, Compression, () => void] => [one, one, () => {}]),
  ['xz, without the program', 'xz', withoutPrograms],
])('decompress %s', (_, compression, prepare) => {
  it('gives back what was packed', async () => {
    const packed = pack[compression](content);
    prepare();
    expect((await unpack(packed, compression, content.length)).equals(content)).toBe(true);
  });

  it('stops soon after the limit', async () => {
    const bomb = pack[compression](new Uint8Array(64 << 20));
    prepare();
    const size = (await unpack(bomb, compression, 1000)).length;
    expect(size).toBeGreaterThan(1000);
    expect(size).toBeLessThan(2 << 20);
  });

  it('throws when there is no file', async () => {
    prepare();
    const read = async (): Promise<void> => {
      for await (const chunk of decompress(join(world.folder, 'nowhere'), compression, 10))
        expect(chunk).toBeDefined();
    };
    await expect(read()).rejects.toThrow('ENOENT');
  });
});

it.each<[string, Compression, () => void]>([
  ['xz', 'xz', () => {}],
  ['xz, without the program', 'xz', withoutPrograms],
  ['gzip', 'gzip', () => {}],
])(
  'decompress %s throws at what is cut off, and at what is something else',
  async (_, compression, prepare) => {
    const packed = pack[compression](content);
    prepare();
    await expect(
      unpack(packed.subarray(0, packed.length / 2), compression, content.length),
    ).rejects.toBeInstanceOf(Error);
    await expect(unpack(content, compression, content.length)).rejects.toBeInstanceOf(Error);
  },
);

// The .xz File Format 1.2.1 (tukaani.org/xz/xz-file-format.txt), 3.1: behind 12 bytes the header of a block, whose fifth
// byte is the size of the dictionary, and whose last four are its CRC-32, as gzip has it at the end.
it('xz that takes two gigabytes to unpack is refused by the program', async () => {
  const greedy = spawnSync('xz', ['-c', '-T1'], { input: 'x' }).stdout;
  const block = greedy.subarray(12, 24);
  expect(block.subarray(0, 4)).toEqual(Buffer.from([2, 0, 0x21, 1]));
  block[4] = 38;
  const crc = gzipSync(block.subarray(0, 8)).subarray(-8, -4);
  block.set(crc, 8);
  await expect(unpack(greedy, 'xz', 10)).rejects.toThrow('Memory usage limit reached');
});
