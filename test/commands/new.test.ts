/** Referees: the grammar of a spec, Debian's archives for what each release has, and Debian's own configurations. */
import { mkdirSync, mkdtempSync, readFileSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

import fc from 'fast-check';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { runningConfig } from '../../src/commands/given-config.ts';
import { newSpec } from '../../src/commands/new.ts';
import type { NewOptions } from '../../src/commands/options.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import type { Host } from '../../src/host/host.ts';
import { noProgress } from '../../src/host/progress.ts';
import { Store } from '../../src/host/store.ts';
import { readSpec } from '../../src/spec/read-spec.ts';
import type { Spec } from '../../src/spec/spec.ts';
import { aptRoot, orSkip } from '../oracle/apt-root.ts';
import { debianConfigs } from '../oracle/debian-configs.ts';

let folder: string;
let host: Host;
beforeEach(() => {
  folder = mkdtempSync('/tmp/quern-new-');
  host = {
    cwd: folder,
    env: {},
    now: () => new Date(),
    signal: new AbortController().signal,
    progress: noProgress,
    store: new Store(join(folder, 'store')),
  };
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

/** What the written file says to whoever reads it. */
const written = async (options: Partial<NewOptions>): Promise<Spec> => {
  const { value } = await newSpec({ name: 'gauge-station', running: false, ...options }, host);
  const { value: spec, diagnostics } = readSpec(readFileSync(join(folder, value.spec), 'utf8'), value.spec);
  expect(diagnostics).toEqual([]);
  if (!spec) throw new Error('it is no spec');
  return spec;
};
const refused = async (work: Promise<unknown>): Promise<readonly object[]> => {
  const error: unknown = await work.catch((caught: unknown) => caught);
  if (error instanceof Failure) return error.diagnostics;
  throw new Error(`no Failure: ${String(error)}`);
};

describe('quern new', () => {
  it('writes a spec of the usual kernel', async () => {
    expect(await written({})).toMatchObject({
      name: 'gauge-station',
      kernel: { version: '6.1', source: { kind: 'debian', package: 'linux-source-6.1' } },
      arch: 'x86_64',
      config: { base: { kind: 'target', target: 'defconfig' }, fragments: [], set: [] },
      environment: { debian: 'bookworm' },
      localversion: '-gauge-station',
    });
    expect(readdirSync(folder)).toEqual(['gauge-station.yaml']);
  });

  it.each([
    ['5.10', 'bullseye', { kind: 'debian', package: 'linux-source-5.10' }],
    ['6.12', 'trixie', { kind: 'debian', package: 'linux-source-6.12' }],
    ['6.9.3', 'bookworm', { kind: 'tarball', path: 'linux-6.9.3.tar.xz' }],
    ['7.3', 'bookworm', { kind: 'tarball', path: 'linux-7.3.tar.xz' }],
  ])('of Linux %s is made in Debian %s', async (kernel, debian, source) => {
    const spec = await written({ kernel, base: 'tinyconfig' });
    expect(spec).toMatchObject({ kernel: { version: kernel, source }, environment: { debian } });
  });

  it.for(['bullseye', 'bookworm', 'trixie'] as const)(
    'names a source that %s has',
    async (release, context) => {
      const { packagesFiles } = await orSkip(context, aptRoot(release));
      const kernel = { bullseye: '5.10', bookworm: '6.1', trixie: '6.12' }[release];
      const { kernel: written_, environment } = await written({ kernel });
      if (written_.source.kind !== 'debian') throw new Error('no package');
      expect(environment.debian).toBe(release);
      expect(packagesFiles.map((file) => readFileSync(file, 'utf8')).join('\n')).toContain(
        `\nPackage: ${written_.source.package}\n`,
      );
    },
  );

  it('begins with a configuration of Debian', async (context) => {
    const [debian] = await orSkip(context, debianConfigs('x86_64'));
    if (!debian) throw new Error('no configuration');
    writeFileSync(join(folder, 'debian.gz'), gzipSync(Buffer.from(debian.text, 'latin1')));
    const spec = await written({ config: 'debian.gz' });
    expect(spec).toMatchObject({
      kernel: { version: '6.1' },
      config: {
        base: { kind: 'file', path: 'gauge-station.config' },
        set: [],
      },
    });
    expect(readFileSync(join(folder, 'gauge-station.config'), 'latin1')).toBe(debian.text);
  });

  it('clears keys that only whoever made the configuration has', async () => {
    const lines = [
      'CONFIG_SYSTEM_TRUSTED_KEYS="certs/otter.pem"',
      'CONFIG_MODULE_SIG_KEY="certs/signing_key.pem"',
    ];
    writeFileSync(join(folder, 'station.config'), `${lines.join('\n')}\n`);
    expect((await written({ config: 'station.config' })).config.set).toEqual([
      { option: 'SYSTEM_TRUSTED_KEYS', value: '""' },
    ]);
  });

  it('takes version and architecture from a configuration', async () => {
    const lay = (text: string): void => writeFileSync(join(folder, 'station.config'), text);
    const from = { config: 'station.config', output: 'specs' };
    mkdirSync(join(folder, 'specs'));
    lay('# Linux/x86 6.18.44-otter Kernel Configuration\nCONFIG_X86=y\n');
    expect((await written(from)).kernel).toEqual({
      version: '6.18.44',
      source: { kind: 'tarball', path: 'linux-6.18.44.tar.xz' },
    });
    lay('# Linux/arm64 6.1.3 Kernel Configuration\nCONFIG_ARM64=y\n');
    expect((await written({ ...from, name: 'weir' })).arch).toBe('arm64');
    lay('CONFIG_X86=y\nCONFIG_X86_32=y\n');
    expect((await written({ ...from, name: 'lock' })).arch).toBe('i386');
    lay('CONFIG_UML=y\n');
    expect(await refused(written({ ...from, name: 'tide' }))).toMatchObject([
      { code: 'command/bad-answer', exit: 2 },
    ]);
    lay('name: gauge\n');
    expect(await refused(written({ ...from, name: 'tide' }))).toMatchObject([{ code: 'command/bad-answer' }]);
    expect(await refused(written({ config: 'none', name: 'tide' }))).toMatchObject([
      { code: 'command/no-base', exit: 2 },
    ]);
    expect(readdirSync(join(folder, 'specs'))).toEqual(
      ['gauge-station', 'lock', 'weir'].flatMap((name) => [`${name}.config`, `${name}.yaml`]),
    );
  });

  it('takes no configuration for another architecture than the one that is asked for', async () => {
    const config = join(folder, 'station.config');
    writeFileSync(config, '# Linux/arm64 6.1.0 Kernel Configuration\nCONFIG_ARM64=y\n');
    expect(await refused(newSpec({ name: 'weir', running: false, config, arch: 'arm' }, host))).toMatchObject(
      [
        {
          code: 'command/bad-answer',
          message: expect.stringMatching(/is a configuration for arm64, and --arch says `arm`$/u),
        },
      ],
    );
    expect(readdirSync(folder)).toEqual(['station.config']);
    expect(await written({ config, arch: 'aarch64' })).toMatchObject({ arch: 'arm64' });
    const x86 = async (option: string, arch: string): Promise<string> => {
      writeFileSync(config, `CONFIG_X86=y\n${option}\n`);
      return (
        await written({
          name: `${option.slice(7, -2)}-${arch}`.toLowerCase().replaceAll('_', '-'),
          config,
          arch,
        })
      ).arch;
    };
    expect(await x86('CONFIG_EXPERT=y', 'i386')).toBe('i386');
    expect(await x86('CONFIG_X86_32=y', 'i386')).toBe('i386');
    await expect(x86('CONFIG_X86_64=y', 'i386')).rejects.toThrow(/for x86_64, and --arch says `i386`/u);
    await expect(x86('CONFIG_X86_32=y', 'x86_64')).rejects.toThrow(/for i386, and --arch says `x86_64`/u);
  });

  it('says what has yet to be laid beside it', async () => {
    const text = async (options: Partial<NewOptions>): Promise<string | undefined> =>
      (await newSpec({ name: 'weir', running: false, ...options }, host)).text;
    expect(await text({ base: 'station.config', kernel: '6.6' })).toContain(
      'lay linux-6.6.tar.xz and station.config beside it',
    );
    writeFileSync(join(folder, 'station.config'), 'CONFIG_CRC7=y\n');
    expect(await text({ name: 'bank', base: 'station.config' })).not.toContain('beside');
  });

  it('writes over nothing', async () => {
    writeFileSync(join(folder, 'gauge-station.config'), 'mine');
    writeFileSync(join(folder, 'other.config'), 'CONFIG_X86=y\n');
    expect(await refused(written({ config: 'other.config' }))).toMatchObject([
      { code: 'command/spec-exists', exit: 2 },
    ]);
    expect(readdirSync(folder)).toEqual(['gauge-station.config', 'other.config']);
    expect(readFileSync(join(folder, 'gauge-station.config'), 'utf8')).toBe('mine');
  });

  it('tells all that is wrong with its answers', async () => {
    const wrong = written({ name: '../Tide', kernel: 'six', base: 'a\nb' });
    expect(await refused(wrong)).toMatchObject([
      { message: expect.stringContaining('NAME') },
      { message: expect.stringContaining('--kernel') },
      { message: expect.stringContaining('--base') },
    ]);
    expect(readdirSync(folder)).toEqual([]);
  });

  it('writes what was meant, or nothing, whatever it is told', async () => {
    const word = fc.oneof(
      fc.string({ maxLength: 70 }),
      fc.stringMatching(/^[a-z0-9][a-z0-9.-]{0,62}$/u),
      fc.constantFrom('6.1', '6.12-rc3', './a b.config', '${x}', "it's: #", 'otter\n---\n'),
    );
    await fc.assert(
      fc.asyncProperty(word, word, word, word, async (name, kernel, base, from) => {
        rmSync(folder, { recursive: true, force: true });
        mkdirSync(folder);
        const config = `${from.replace(/[/\0]/gu, '-')}.in`;
        writeFileSync(join(folder, config), 'CONFIG_X86=y\n');
        const more = base.length % 2 === 0 ? { base } : { config };
        const spec = await written({ name, kernel, ...more }).catch((error: unknown) => {
          if (error instanceof Failure) return undefined;
          throw error;
        });
        if (spec) expect(spec).toMatchObject({ name, kernel: { version: kernel } });
        else expect(readdirSync(folder)).toEqual([config]);
      }),
      { numRuns: 300 },
    );
  });
});

describe('runningConfig', () => {
  it('finds it where installers put it, or says where it looked', async () => {
    expect(await refused(runningConfig(folder))).toMatchObject([
      { code: 'command/no-running-config', exit: 3, notes: { length: 3 } },
    ]);
    mkdirSync(join(folder, 'proc'));
    writeFileSync(join(folder, 'proc/config.gz'), gzipSync('CONFIG_X86=y\n').subarray(0, 20));
    expect(await refused(runningConfig(folder))).toMatchObject([{ code: 'command/no-running-config' }]);
    writeFileSync(join(folder, 'proc/config.gz'), gzipSync('CONFIG_X86=y\n'));
    expect(await runningConfig(folder)).toMatchObject({
      text: 'CONFIG_X86=y\n',
      origin: expect.stringContaining('/proc/config.gz'),
    });
  });
});
