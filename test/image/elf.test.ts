import { execFileSync, spawnSync } from 'node:child_process';
import { chmodSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { readElf } from '../../src/image/elf.ts';
import { readModuleInfo } from '../../src/image/module-info.ts';
import { elfObject, elfProgram, exitThree, kernelModule } from './kernel-module.ts';

const bytes = (text: string): Uint8Array => new TextEncoder().encode(text);
const gauge = kernelModule({
  name: 'river_gauge',
  depends: 'crc7,serial-core',
  license: 'GPL',
  vermagic: '6.1.192-otter mod_unload ',
});

describe('readElf', () => {
  it('reads the class, the machine and the sections', () => {
    const { value, diagnostics } = readElf(
      elfObject({ '.text': bytes('abc'), '.modinfo': bytes('name=x\0') }),
    );
    expect(diagnostics).toEqual([]);
    expect(value).toMatchObject({ bits: 64, endian: 'little', type: 1, machine: 62, hasInterpreter: false });
    expect(value?.sections.map(({ name, length }) => [name, length])).toContainEqual(['.modinfo', 7]);
  });

  it('tells whether a program wants a loader', () => {
    expect(readElf(elfProgram({ code: exitThree })).value?.hasInterpreter).toBe(false);
    expect(readElf(elfProgram({ code: exitThree, interpreter: true })).value?.hasInterpreter).toBe(true);
  });

  // Referees for the fixtures themselves: file(1), and the kernel of this machine.
  it('is tested with files that others take for ELF', () => {
    const about = (input: Uint8Array): string => execFileSync('file', ['-b', '-'], { input }).toString();
    expect(about(elfProgram({ code: exitThree }))).toMatch(
      /^ELF 64-bit LSB executable, x86-64.*statically linked/,
    );
    expect(about(gauge)).toMatch(/^ELF 64-bit LSB relocatable, x86-64/);
    if (process.arch !== 'x64') return;
    const folder = mkdtempSync(join(tmpdir(), 'quern-elf-'));
    try {
      writeFileSync(join(folder, 'three'), elfProgram({ code: exitThree }));
      chmodSync(join(folder, 'three'), 0o755);
      expect(spawnSync(join(folder, 'three')).status).toBe(3);
    } finally {
      rmSync(folder, { recursive: true });
    }
  });

  it.each([
    ['nothing', new Uint8Array(0)],
    ['a text', bytes('#!/bin/sh\n')],
    ['the magic alone', new Uint8Array([0x7f, 0x45, 0x4c, 0x46])],
    ['a class of nobody', new Uint8Array([0x7f, 0x45, 0x4c, 0x46, 9, 1, ...new Uint8Array(64)])],
    ['a header without the tables it speaks of', gauge.subarray(0, 64)],
  ])('refuses %s', (_, input) => {
    const { value, diagnostics } = readElf(input);
    expect(value).toBeUndefined();
    expect(diagnostics.map(({ code }) => code)).toEqual(['image/not-elf']);
  });
});

describe('readModuleInfo', () => {
  it('reads what a module says of itself', () => {
    expect(readModuleInfo(gauge)).toEqual({
      value: {
        name: 'river_gauge',
        depends: ['crc7', 'serial-core'],
        license: 'GPL',
        vermagic: '6.1.192-otter mod_unload ',
      },
      diagnostics: [],
    });
  });

  it('knows modules that depend on nothing, or say nothing', () => {
    expect(readModuleInfo(kernelModule({ depends: '' })).value).toEqual({ depends: [] });
    expect(readModuleInfo(kernelModule({})).value).toEqual({ depends: [] });
  });

  it('refuses an ELF file that is no module', () => {
    expect(readModuleInfo(elfProgram({ code: exitThree })).diagnostics.map(({ code }) => code)).toEqual([
      'image/not-module',
    ]);
  });

  it('never throws, whatever is changed or cut', () => {
    fc.assert(
      fc.property(
        fc.nat(gauge.length),
        fc.array(fc.tuple(fc.nat(gauge.length - 1), fc.nat(255)), { maxLength: 12 }),
        (length, changes) => {
          const input = gauge.slice(0, length);
          for (const [at, value] of changes) if (at < length) input[at] = value;
          const { value, diagnostics } = readModuleInfo(input);
          expect(value === undefined).toBe(diagnostics.length > 0);
        },
      ),
      { numRuns: 1000 },
    );
  });
});
