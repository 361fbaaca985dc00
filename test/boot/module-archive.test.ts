import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { mostUnnamed, readModules } from '../../src/boot/module-archive.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import { kernelModule } from '../image/kernel-module.ts';
import { archiveModules } from './world.ts';

const crc7 = kernelModule({ depends: '' });
const core = kernelModule({ depends: 'crc7' });
const gauge = kernelModule({ depends: 'serial_core,crc7', license: 'GPL' });
const signal = new AbortController().signal;

describe('readModules', () => {
  let folder: string;
  let archive: string;
  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'quern-archive-'));
    archive = join(folder, 'modules.tar.xz');
  });
  afterEach(() => rmSync(folder, { recursive: true }));

  const station = {
    'kernel/drivers/gauge.ko': gauge,
    'kernel/drivers/serial-core.ko.gz': gzipSync(core),
    'kernel/lib/crc7.ko.xz': execFileSync('xz', ['-c'], { input: crc7 }),
    'modules.order': new TextEncoder().encode('kernel/lib/crc7.ko\n'),
  };

  it('takes all modules of a small archive, unpacked, each behind what it depends on', async () => {
    archiveModules(archive, '6.1.192-otter', station);
    const { value, diagnostics } = await readModules(archive, undefined, signal);
    expect(diagnostics).toEqual([]);
    expect(value.map(({ name }) => name)).toEqual(['crc7', 'serial_core', 'gauge']);
    expect(value.map(({ bytes }) => Buffer.from(bytes))).toEqual(
      [crc7, core, gauge].map((one) => Buffer.from(one)),
    );
  });

  it('takes the named ones and what they depend on, whichever way the name is written', async () => {
    archiveModules(archive, '6.1.192-otter', station);
    expect((await readModules(archive, ['crc7'], signal)).value.map(({ name }) => name)).toEqual(['crc7']);
    expect((await readModules(archive, ['serial-core'], signal)).value.map(({ name }) => name)).toEqual([
      'crc7',
      'serial_core',
    ]);
    expect((await readModules(archive, [], signal)).value).toEqual([]);
  });

  it('takes none of many that nobody named, and says so', async () => {
    const many = Object.fromEntries(
      Array.from({ length: mostUnnamed + 1 }, (_, index) => [`kernel/m${index}.ko`, crc7]),
    );
    archiveModules(archive, '6.1.192-otter', many);
    const { value, diagnostics } = await readModules(archive, undefined, signal);
    expect(value).toEqual([]);
    expect(diagnostics.map(({ code, severity }) => [code, severity])).toEqual([
      ['boot/modules-left-out', 'note'],
    ]);
    expect((await readModules(archive, ['m7'], signal)).value).toHaveLength(1);
  });

  it('names the module that is not there, and the nearest that is', async () => {
    archiveModules(archive, '6.1.192-otter', station);
    const failure = await readModules(archive, ['gauges', 'crc7'], signal).catch((error: unknown) => error);
    expect(failure).toBeInstanceOf(Failure);
    const diagnostics = failure instanceof Failure ? failure.diagnostics : [];
    expect(diagnostics.map(({ code, exit, help }) => [code, exit, help])).toEqual([
      ['boot/no-such-module', 2, 'Did you mean `gauge`?'],
    ]);
  });

  it('says which files are no modules, and takes the rest', async () => {
    archiveModules(archive, '6.1.192-otter', {
      'kernel/a.ko': new TextEncoder().encode('not ELF'),
      'kernel/b.ko.gz': new TextEncoder().encode('not gzip'),
      'kernel/c.ko.zst': crc7,
      'kernel/crc7.ko': crc7,
    });
    const { value, diagnostics } = await readModules(archive, undefined, signal);
    expect(value.map(({ name }) => name)).toEqual(['crc7']);
    expect(diagnostics.map(({ code }) => code)).toEqual(Array(3).fill('boot/module-unreadable'));
  });

  it.each<[string, (whole: Buffer) => Uint8Array]>([
    ['is no xz file', () => Buffer.from('hello')],
    ['is empty', () => Buffer.alloc(0)],
    ['is cut off', (whole) => whole.subarray(0, whole.length - 40)],
    ['has a changed byte', (whole) => whole.fill(0xff, 100, 110)],
    ['holds no tar', () => execFileSync('xz', ['-c'], { input: 'river'.repeat(1000) })],
  ])('refuses an archive that %s', async (_, spoil) => {
    archiveModules(archive, '6.1.192-otter', station);
    writeFileSync(archive, spoil(readFileSync(archive)));
    const failure = await readModules(archive, undefined, signal).catch((error: unknown) => error);
    expect(failure).toMatchObject({ diagnostics: [{ code: 'boot/archive-unreadable', exit: 4 }] });
  });

  it('stops when it is told to', async () => {
    archiveModules(archive, '6.1.192-otter', station);
    const stop = AbortSignal.abort(new Error('enough'));
    await expect(readModules(archive, undefined, stop)).rejects.toThrow('enough');
  });
});
