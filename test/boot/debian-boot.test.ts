/** Boots a kernel that nobody here built: three times, each some seconds to half a minute. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { bootRecord } from '../../src/boot/boot.ts';
import { missingOptions } from '../../src/boot/console-options.ts';
import { readModuleInfo } from '../../src/image/module-info.ts';
import { readX86Boot } from '../../src/image/x86-boot.ts';
import { elfProgram, exitThree, forever, kernelModule } from '../image/kernel-module.ts';
import { debianKernel, type DebianKernel } from './debian-kernel.ts';
import { benchHost, makeRecord, type TestRecord, emulatorOf } from './world.ts';

let kernel: DebianKernel;
let record: TestRecord;
let bench: string;
/** What file(1) reads from the image: `RELEASE (BUILDER) VERSION`. */
let said: string;

beforeAll(async () => {
  kernel = await debianKernel();
  // It closes its input once it has read enough.
  const words = execFileSync('file', ['-b', '-'], { input: kernel.image.subarray(0, 65536) }).toString();
  said = /version (.*?), RO-rootFS/.exec(words)?.[1] ?? '';
  record = makeRecord({
    image: kernel.image,
    config: kernel.config,
    release: kernel.release,
    versionString: said.slice(said.indexOf('#')),
    modules: {
      'kernel/lib/crc7.ko': kernel.module('kernel/lib/crc7.ko'),
      'kernel/net/x_tables.ko': kernel.module('kernel/net/netfilter/x_tables.ko'),
      'kernel/net/xt_limit.ko': kernel.module('kernel/net/netfilter/xt_limit.ko'),
      'kernel/otter/gauge.ko': kernelModule({ depends: 'crc7' }),
    },
  });
  bench = mkdtempSync(join(tmpdir(), 'quern-bench-'));
  cleanUp.push(record.dispose, () => rmSync(bench, { recursive: true }));
}, 300_000);

const cleanUp: (() => void)[] = [];
afterAll(() => {
  for (const one of cleanUp) one();
});

const minutes = 240_000;

describe("Debian's kernel", () => {
  it('has a boot header that reads as file(1) reads it', () => {
    const { value, diagnostics } = readX86Boot(kernel.image);
    expect(diagnostics).toEqual([]);
    expect(value?.kernelVersion?.text).toBe(said);
    expect(value?.kernelVersion?.release).toBe(kernel.release);
    expect(value?.loadFlags.kernel64).toBe(true);
    // The payload begins with the magic of the compression that the configuration names (lib/decompress.c).
    const magics: Readonly<Record<string, string>> = { GZIP: '1f8b', XZ: 'fd37', LZ4: '0221', ZSTD: '28b5' };
    const [, compression = ''] = /^CONFIG_KERNEL_(GZIP|XZ|LZ4|ZSTD)=y$/m.exec(kernel.config) ?? [];
    const { offset = 0 } = value?.payload ?? {};
    expect(Buffer.from(kernel.image.subarray(offset, offset + 2)).toString('hex')).toBe(magics[compression]);
    expect(missingOptions(kernel.config, emulatorOf('x86_64'))).toEqual([]);
  });

  it('has modules that read as readelf(1) reads them', () => {
    const module = kernel.module('kernel/net/netfilter/xt_limit.ko');
    writeFileSync(join(bench, 'xt_limit.ko'), module);
    const dump = execFileSync('readelf', ['-p', '.modinfo', join(bench, 'xt_limit.ko')]).toString();
    const { value } = readModuleInfo(module);
    expect(dump).toContain(`  depends=${value?.depends.join(',')}\n`);
    expect(dump).toContain(`  vermagic=${value?.vermagic}\n`);
    expect(dump).toContain(`  name=${value?.name}\n`);
    expect(value?.depends).toEqual(['x_tables']);
  });

  it(
    'boots, is the one of the record, loads its modules in order, and rejects one that is none',
    async () => {
      const { value, diagnostics } = await bootRecord(benchHost(), {
        folder: record.folder,
        modules: ['xt_limit', 'gauge'],
        timeoutSeconds: 200,
      });
      expect(diagnostics.map(({ code, exit }) => [code, exit])).toEqual([
        ['boot/config-not-embedded', 0],
        ['boot/module-failed', 1],
      ]);
      expect(value).toMatchObject({
        verdict: 'booted',
        release: kernel.release,
        versionString: said.slice(said.indexOf('#')),
        config: 'not embedded',
        modules: [
          { name: 'x_tables', loaded: true },
          { name: 'xt_limit', loaded: true },
          { name: 'crc7', loaded: true },
          { name: 'gauge', loaded: false, said: expect.stringContaining('insmod') },
        ],
      });
      const log = readFileSync(join(record.folder, 'boot.log'), 'utf8');
      expect(log).toContain(`Linux version ${kernel.release}`);
      expect(log).not.toContain('\r');
      expect(JSON.parse(readFileSync(join(record.folder, 'boot.json'), 'utf8'))).toEqual(value);
    },
    minutes,
  );

  it(
    'panics when its first process ends',
    async () => {
      writeFileSync(join(bench, 'busybox'), elfProgram({ code: exitThree }));
      const options = {
        folder: record.folder,
        modules: [],
        busybox: join(bench, 'busybox'),
        timeoutSeconds: 200,
      };
      const { value, diagnostics } = await bootRecord(benchHost(), options);
      expect(value.verdict).toBe('panic');
      expect(value.line).toMatch(/Kernel panic - not syncing: Attempted to kill init! exitcode=0x00000300/);
      expect(diagnostics.map(({ code, exit }) => [code, exit])).toEqual([['boot/panic', 1]]);
    },
    minutes,
  );

  it(
    'hangs when its first process does nothing',
    async () => {
      writeFileSync(join(bench, 'busybox'), elfProgram({ code: forever }));
      const options = {
        folder: record.folder,
        modules: [],
        busybox: join(bench, 'busybox'),
        timeoutSeconds: 10,
      };
      const { value, diagnostics } = await bootRecord(benchHost(), options);
      expect(value.verdict).toBe('hang');
      expect(value.seconds).toBeLessThan(20);
      expect(diagnostics.map(({ code, exit }) => [code, exit])).toEqual([['boot/hang', 1]]);
    },
    minutes,
  );
});
