import { spawnSync } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

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

const readable = (['xz', 'gzip', 'zstd', 'none'] as const).filter(canRead);

describe.each(readable)('decompress %s', (compression) => {
  it('gives back what was packed', async () => {
    expect((await unpack(pack[compression](content), compression, content.length)).equals(content)).toBe(
      true,
    );
  });

  it('stops soon after the limit', async () => {
    const bomb = pack[compression](new Uint8Array(64 << 20));
    const size = (await unpack(bomb, compression, 1000)).length;
    expect(size).toBeGreaterThan(1000);
    expect(size).toBeLessThan(2 << 20);
  });

  it('throws when there is no file', async () => {
    const read = async (): Promise<void> => {
      for await (const chunk of decompress(join(world.folder, 'nowhere'), compression, 10))
        expect(chunk).toBeDefined();
    };
    await expect(read()).rejects.toThrow('ENOENT');
  });
});

it.each(['xz', 'gzip'] as const)(
  'decompress %s throws at what is cut off, and at what is something else',
  async (compression) => {
    const packed = pack[compression](content);
    await expect(
      unpack(packed.subarray(0, packed.length / 2), compression, content.length),
    ).rejects.toBeInstanceOf(Error);
    await expect(unpack(content, compression, content.length)).rejects.toBeInstanceOf(Error);
  },
);
