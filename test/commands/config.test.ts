/** A made-up tree of a few files; that real ones give what the kernel's own program writes is shown in test/kconfig. */
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { config } from '../../src/commands/config.ts';
import type { TreeConfigOptions } from '../../src/commands/options.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import { toJson } from '../../src/diagnostics/to-json.ts';
import type { Host } from '../../src/host/host.ts';
import { noProgress } from '../../src/host/progress.ts';
import { Store } from '../../src/host/store.ts';
import { xzSync } from '../source/otter-archive.ts';
import { gaugeTree, layFiles } from './gauge-tree.ts';

let folder: string;
let host: Host;
beforeEach(() => {
  folder = mkdtempSync('/tmp/quern-config-');
  layFiles(join(folder, 'tree'), gaugeTree);
  host = {
    cwd: folder,
    env: { PATH: process.env['PATH'] },
    now: () => new Date(),
    signal: new AbortController().signal,
    progress: noProgress,
    store: new Store(join(folder, 'store')),
  };
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const onTree: TreeConfigOptions = { tree: 'tree', arch: 'x86_64', set: [], probeHost: true };

const failure = async (work: Promise<unknown>): Promise<Failure> => {
  const error: unknown = await work.catch((caught: unknown) => caught);
  if (error instanceof Failure) return error;
  throw new Error(`no Failure: ${String(error)}`);
};

describe('quern config --tree', () => {
  it('starts from the usual configuration of the architecture', async () => {
    const { exit, value, text } = await config(onTree, host);
    expect(exit).toBe(0);
    expect(text).toBe(value.config);
    expect(text).toBe(`#
# Automatically generated file; DO NOT EDIT.
# Otter Bank 6.1.0
#
# CONFIG_MODULES is not set
# CONFIG_SONAR is not set
CONFIG_PIER=y
CONFIG_HAS_TRUE=y
CONFIG_LEVEL=5
`);
  });

  it('lays options over a file, and says of each what became of it', async () => {
    writeFileSync(join(folder, 'base.config'), 'CONFIG_LEVEL=7\n');
    const set = [
      { option: 'SONAR', value: 'y' },
      { option: 'LEVEL', value: '3' },
      { option: 'PEIR', value: 'y' },
    ];
    const { exit, value, diagnostics } = await config({ ...onTree, base: 'base.config', set }, host);
    expect(exit).toBe(1);
    expect(value.config).toContain('CONFIG_LEVEL=3\n');
    expect(value.verdicts).toMatchObject([
      { option: 'SONAR', requested: 'y', value: 'n', verdict: 'dropped', reason: { kind: 'dependency' } },
      { option: 'LEVEL', requested: '3', value: '3', verdict: 'kept' },
      { option: 'PEIR', verdict: 'unknown', reason: { kind: 'misspelt', nearest: ['PIER'] } },
    ]);
    expect(diagnostics.map(({ message }) => message)).toEqual(
      expect.arrayContaining(['dropped SONAR y → n', 'unknown PEIR y → n']),
    );
  });

  it('writes a file, also when a request is not kept', async () => {
    const set = [{ option: 'LEVEL', value: '12' }];
    const { exit, value, text } = await config({ ...onTree, set, output: 'out.config' }, host);
    expect(exit).toBe(1);
    expect(value).not.toHaveProperty('config');
    expect(text).toBe('written to out.config');
    // the older rules hold in this tree, which has no sources of its program: the newest are taken, which clamp
    expect(readFileSync(join(folder, 'out.config'), 'latin1')).toContain('CONFIG_LEVEL=9\n');
  });

  it('keeps what this machine answered, and needs it no more', async () => {
    await config({ ...onTree, saveProbes: 'answers.json' }, host);
    const kept: unknown = JSON.parse(readFileSync(join(folder, 'answers.json'), 'utf8'));
    expect(kept).toMatchObject({ probes: 1, arch: 'x86_64', kernelVersion: '6.1.0' });
    const again = await config({ ...onTree, probeHost: false, probes: 'answers.json' }, host);
    expect(again.exit).toBe(0);
    expect(again.text).toContain('CONFIG_HAS_TRUE=y\n');
  });

  it('says which answers are missing, and where to get them', async () => {
    const { diagnostics } = await failure(config({ ...onTree, probeHost: false }, host));
    expect(diagnostics).toMatchObject([
      {
        code: 'command/probe-unanswered',
        exit: 3,
        message: expect.stringContaining('one thing to which'),
        notes: [expect.stringContaining('true')],
        help: expect.stringContaining('--probe-host'),
      },
    ]);
  });

  it('is not written over what it is made of', async () => {
    writeFileSync(join(folder, 'base.config'), 'CONFIG_LEVEL=7\n');
    expect(
      (await failure(config({ ...onTree, base: 'base.config', output: './base.config' }, host))).diagnostics,
    ).toMatchObject([{ code: 'host/output-is-input', exit: 2 }]);
    expect(readFileSync(join(folder, 'base.config'), 'utf8')).toBe('CONFIG_LEVEL=7\n');
  });

  it('points at lines of the base, whatever is laid over it', async () => {
    writeFileSync(join(folder, 'base.config'), 'CONFIG_LEVEL=7\n# tide\nCONFIG_OTTER=y\nCONFIG_WHARF=y\n');
    const set = [{ option: 'LEVEL', value: '3' }];
    const { diagnostics, sources } = await config({ ...onTree, base: 'base.config', set }, host);
    expect(
      toJson(diagnostics, sources ?? new Map())
        .filter(({ code }) => code === 'kconfig/config-unknown')
        .map(({ file, line }) => [file, line]),
    ).toEqual([
      ['base.config', 3],
      ['base.config', 4],
    ]);
  });

  it('says that an option is asked for twice', async () => {
    const set = [
      { option: 'LEVEL', value: '3' },
      { option: 'LEVEL', value: '4' },
    ];
    const { diagnostics, value } = await config({ ...onTree, set }, host);
    expect(diagnostics.map(({ code }) => code)).toContain('kconfig/overridden');
    expect(value.config).toContain('CONFIG_LEVEL=4\n');
  });

  it.each([
    ['amd64', '`x86_64`'],
    ['aarch64', '`arm64`'],
    ['x86_46', '`x86_64`'],
    ['otter', 'Name one of these.'],
  ])('does not know the architecture %s', async (arch, help) => {
    layFiles(join(folder, 'tree'), {
      Makefile: (gaugeTree['Makefile'] ?? '').replace('SRCARCH := x86', 'SRCARCH := $(ARCH)'),
      'arch/x86/Kconfig': '',
      'arch/arm64/Kconfig': '',
    });
    expect((await failure(config({ ...onTree, arch }, host))).diagnostics).toMatchObject([
      { code: 'command/no-architecture', exit: 2, help: expect.stringContaining(help) },
    ]);
  });

  it('takes no answers for another architecture, and warns of those for another kernel', async () => {
    const { probeHost: _, ...onAnswers } = onTree;
    await config({ ...onTree, saveProbes: 'p.json' }, host);
    const saved = readFileSync(join(folder, 'p.json'), 'utf8');
    const use = { ...onAnswers, probeHost: false, probes: 'p.json' };
    expect((await config(use, host)).diagnostics.map(({ code }) => code)).toEqual(['kconfig/dialect']);
    writeFileSync(join(folder, 'p.json'), saved.replace('6.1.0', '5.10.9'));
    expect((await config(use, host)).diagnostics.map(({ code }) => code)).toContain(
      'command/probes-of-other-kernel',
    );
    writeFileSync(join(folder, 'p.json'), saved.replace('x86_64', 'arm64'));
    expect((await failure(config(use, host))).diagnostics).toMatchObject([
      { code: 'command/probes-unfit', exit: 2 },
    ]);
  });

  it('asks the compiler that CROSS_COMPILE names, as make does', async () => {
    layFiles(join(folder, 'tree'), {
      Makefile: `${gaugeTree['Makefile'] ?? ''}CC = $(CROSS_COMPILE)gcc\nexport CC\n`,
      Kconfig: `${gaugeTree['Kconfig'] ?? ''}config COMPILER\n\tstring\n\tdefault "$(shell,$(CC) --version)"\n`,
    });
    mkdirSync(join(folder, 'bin'));
    writeFileSync(join(folder, 'bin/otter-gcc'), '#!/bin/sh\necho otter 12\n', { mode: 0o755 });
    host = {
      ...host,
      env: { PATH: `${join(folder, 'bin')}:${process.env['PATH'] ?? ''}`, CROSS_COMPILE: 'otter-' },
    };
    expect((await config(onTree, host)).value.config).toContain('CONFIG_COMPILER="otter 12"\n');
  });

  it.each([
    ['gzip', gzipSync],
    ['xz', xzSync],
  ])('takes a base that is compressed with %s', async (_, pack) => {
    writeFileSync(join(folder, 'base.config'), 'CONFIG_LEVEL=7\n');
    writeFileSync(join(folder, 'packed'), pack(Buffer.from('CONFIG_LEVEL=7\n')));
    const { value } = await config({ ...onTree, base: 'packed' }, host);
    expect(value.config).toContain('CONFIG_LEVEL=7\n');
    expect(value.config).toBe((await config({ ...onTree, base: 'base.config' }, host)).value.config);
  });

  it.each([
    ['cut short', gzipSync('CONFIG_LEVEL=7\n').subarray(0, 20), 'unpacked'],
    ['of zeros without end', gzipSync(Buffer.alloc(65 * 2 ** 20)), 'unpacks to more than'],
    ['that is a zstd file', Buffer.from('28b52ffd', 'hex'), 'xz and gzip are'],
  ])('refuses a base %s', async (_, bytes, why) => {
    writeFileSync(join(folder, 'packed'), bytes);
    const { diagnostics } = await failure(config({ ...onTree, base: 'packed' }, host));
    expect(diagnostics).toMatchObject([{ code: 'command/no-base', message: expect.stringContaining(why) }]);
  });

  it('refuses a base for another architecture, and warns of one of a newer kernel', async () => {
    writeFileSync(join(folder, 'arm.config'), 'CONFIG_ARM64=y\nCONFIG_LEVEL=7\n');
    expect((await failure(config({ ...onTree, base: 'arm.config' }, host))).diagnostics).toMatchObject([
      { code: 'kconfig/other-architecture', exit: 2 },
    ]);
    writeFileSync(join(folder, 'new.config'), '# Linux/x86 6.12.9 Kernel Configuration\nCONFIG_LEVEL=7\n');
    const { exit, diagnostics } = await config({ ...onTree, base: 'new.config' }, host);
    expect(exit).toBe(0);
    expect(diagnostics.find(({ code }) => code === 'kconfig/newer-config')?.severity).toBe('warning');
  });

  it.each([
    ['no-such-file', 'command/no-base'],
    ['otter_defconfig', 'command/no-base'],
  ])('refuses the base %s', async (base, code) => {
    expect((await failure(config({ ...onTree, base }, host))).diagnostics).toMatchObject([{ code, exit: 2 }]);
  });

  it('refuses a folder that is no kernel tree', async () => {
    mkdirSync(join(folder, 'empty'));
    expect((await failure(config({ ...onTree, tree: 'empty' }, host))).diagnostics).toMatchObject([
      { code: 'source/not-a-kernel' },
    ]);
    expect((await failure(config({ ...onTree, tree: 'gone' }, host))).diagnostics[0]?.message).toContain(
      'gone',
    );
  });
});
