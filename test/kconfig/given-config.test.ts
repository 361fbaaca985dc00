/** Referees: the architectures' own Kconfig files, and the configurations of Debian's package linux-config-6.1. */
import { existsSync, readFileSync, readdirSync } from 'node:fs';
import { join } from 'node:path';

import { describe, expect, it } from 'vitest';

import { architectureOptions, configFit } from '../../src/kconfig/given-config.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { debianConfigs } from '../oracle/debian-configs.ts';
import { kernelTree } from '../oracle/kernel-trees.ts';

const make = (ARCH: string, sourceArch: string, kernelVersion = '6.1.192') => ({
  variables: { ARCH },
  sourceArch,
  kernelVersion,
  defconfig: 'defconfig',
  missing: [],
  asked: [],
});
const codes = (text: string, ...use: Parameters<typeof make>): readonly string[] =>
  configFit(text, 'station.config', make(...use)).map(({ code }) => code);

describe('the option by which an architecture calls itself', () => {
  it.for(['6.1', '6.12'] as const)('is y in its Kconfig of Linux %s', async (series, context) => {
    const { folder } = await orSkip(context, kernelTree(series));
    const here = readdirSync(join(folder, 'arch')).filter((arch) =>
      existsSync(join(folder, 'arch', arch, 'Kconfig')),
    );
    expect(here.length).toBeGreaterThan(15);
    for (const arch of here) {
      const option = architectureOptions.get(arch);
      const text = readFileSync(join(folder, 'arch', arch, 'Kconfig'), 'utf8');
      expect(text, `${arch} ${option ?? ''}`).toMatch(
        new RegExp(String.raw`^config ${option ?? '-'}\n(?:[ \t].*\n)*?[ \t]+(?:def_bool y|default y)`, 'mu'),
      );
    }
  });
});

describe('configFit', () => {
  it(
    'takes what Debian ships for an architecture there, and nowhere else',
    { timeout: 120_000 },
    async (context) => {
      const uses = [
        ['x86_64', 'x86'],
        ['arm64', 'arm64'],
        ['arm', 'arm'],
        ['s390', 's390'],
        ['powerpc', 'powerpc'],
        ['mips', 'mips'],
      ] as const;
      let looked = 0;
      for (const [arch] of uses) {
        for (const { name, text } of await orSkip(context, debianConfigs(arch))) {
          for (const [other, sourceArch] of uses) {
            const expected = other === arch ? [] : ['kconfig/other-architecture'];
            expect(codes(text, other, sourceArch), `${name} for ${other}`).toEqual(expected);
            looked += 1;
          }
        }
      }
      expect(looked).toBe(21 * uses.length);
    },
  );

  it('tells the two x86 apart', () => {
    expect(codes('CONFIG_X86=y\nCONFIG_X86_32=y\n', 'x86_64', 'x86')).toEqual(['kconfig/other-architecture']);
    expect(codes('CONFIG_X86=y\nCONFIG_X86_64=y\n', 'i386', 'x86')).toEqual(['kconfig/other-architecture']);
    expect(codes('CONFIG_X86=y\nCONFIG_X86_32=y\n', 'i386', 'x86')).toEqual([]);
  });

  const heading = (version: string): string =>
    `#\n# Automatically generated file; DO NOT EDIT.\n# Linux/x86 ${version} Kernel Configuration\n#\nCONFIG_PIER=y\n`;

  it.each([
    ['6.1.3', []],
    ['6.1.250', []],
    ['5.10.262', []],
    ['6.2.0-rc1', ['kconfig/newer-config']],
    ['6.12.117', ['kconfig/newer-config']],
    ['7.3.4', ['kconfig/newer-config']],
  ])('says of one that was made for Linux %s: %j', (version, expected) => {
    expect(codes(heading(version), 'x86_64', 'x86')).toEqual(expected);
  });

  it('takes what does not say what it is', () => {
    expect(codes('CONFIG_PIER=y\n', 'x86_64', 'x86')).toEqual([]);
    expect(codes('', 'x86_64', 'x86')).toEqual([]);
    expect(codes('# all at its default\n', 'x86_64', 'x86')).toEqual([]);
  });

  it('refuses what is none', () => {
    expect(codes('<html>\n<title>404</title>\n', 'x86_64', 'x86')).toEqual(['kconfig/no-config']);
    expect(codes('quern: 1\nname: gauge\n', 'x86_64', 'x86')).toEqual(['kconfig/no-config']);
  });
});
