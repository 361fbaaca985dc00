import { execFileSync } from 'node:child_process';

import { expect, it } from 'vitest';

import { artefactNames, debianPackage, isDebianPackage } from '../../src/kit/artefacts.ts';
import { outputKinds, type OutputKind } from '../../src/spec/spec.ts';

const release = '6.1.192-Gauge_2';
const names = (
  outputs: readonly OutputKind[],
  options: readonly string[],
  arch: 'x86_64' | 'arm64' = 'arm64',
) => artefactNames({ outputs, arch }, options.map((option) => `CONFIG_${option}=y\n`).join(''), release);
const always = ['Image.gz', 'System.map', 'kernel.config'];

it('is always image, symbols and configuration', () => {
  expect(names(['image'], [])).toEqual(always);
  expect(names(['vmlinux'], [])).toEqual([...always, 'vmlinux']);
});

it('is what the configuration has of what is wanted', () => {
  expect(names(outputKinds, ['MODULES', 'DEBUG_INFO', 'OF_EARLY_FLATTREE'])).toEqual([
    ...always,
    'modules.tar.xz',
    'vmlinux',
    'dtbs.tar.xz',
    'headers.tar.xz',
    'extmod-build.tar.xz',
    'debug.tar.xz',
    'linux-image-6.1.192-gauge-2_6.1.192-Gauge.2-1_arm64.deb',
  ]);
  expect(names(outputKinds, [])).toEqual([
    ...always,
    'vmlinux',
    'headers.tar.xz',
    'linux-image-6.1.192-gauge-2_6.1.192-Gauge.2-1_arm64.deb',
  ]);
});

it('has device trees for machines that take them', () => {
  expect(names(['dtbs'], ['OF_EARLY_FLATTREE', 'X86_64'], 'x86_64')).not.toContain('dtbs.tar.xz');
});

it.each(['6.1.192-gauge', '5.10.262', '7.3.4-Otter_Bank+', '6.12.0-rc1-a~b'])(
  'a package is called and numbered as dpkg takes it: %s',
  (one) => {
    const { name, version, file } = debianPackage('x86_64', 'CONFIG_X86_64=y\n', one);
    // deb-control(5)
    expect(name).toMatch(/^[a-z0-9][a-z0-9.+-]+$/u);
    expect(() => execFileSync('dpkg', ['--validate-version', version])).not.toThrow();
    expect(isDebianPackage(file)).toBe(true);
    expect(isDebianPackage(`${file}.txt`)).toBe(false);
  },
);
