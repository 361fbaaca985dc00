import { execFileSync } from 'node:child_process';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { readX86Boot } from '../../src/image/x86-boot.ts';
import { bzImage, usualVersion, type BzImageShape } from './bz-image.ts';

const codesOf = (bytes: Uint8Array): string[] => readX86Boot(bytes).diagnostics.map(({ code }) => code);

describe('readX86Boot', () => {
  it('reads every field', () => {
    expect(readX86Boot(bzImage({ payload: { offset: 716, length: 3000 } }))).toEqual({
      value: {
        protocol: { major: 2, minor: 15 },
        setupSectors: 15,
        protectedModeOffset: 8192,
        protectedModeLength: 4096,
        loadedHigh: true,
        kernelVersion: {
          text: usualVersion,
          release: '6.1.192-otter',
          builder: 'gauge@otter-bank',
          version: '#1 SMP PREEMPT_DYNAMIC Thu Jan  1 00:00:00 UTC 2026',
        },
        relocatable: true,
        commandLineSize: 2047,
        loadFlags: {
          kernel64: true,
          above4G: true,
          efiHandover32: true,
          efiHandover64: true,
          efiKexec: true,
          fiveLevel: true,
          fiveLevelEnabled: false,
        },
        payload: { offset: 8908, length: 3000 },
        preferredAddress: 0x1000000n,
        initSize: 0x100000,
        kernelInfoOffset: 2048,
      },
      diagnostics: [],
    });
  });

  // Referee: file(1), whose magic reads the same header.
  it('agrees with file(1) that it is a kernel, and on its version string', () => {
    const words = execFileSync('file', ['-b', '-'], { input: bzImage() }).toString();
    expect(words).toMatch(/^Linux kernel x86 boot executable bzImage/);
    expect(words).toContain(`version ${readX86Boot(bzImage()).value?.kernelVersion?.text}`);
  });

  it('counts four setup sectors where the header says none', () => {
    expect(readX86Boot(bzImage({ setupSectors: 0, versionAt: 0x400 })).value?.protectedModeOffset).toBe(
      5 * 512,
    );
  });

  it('knows no flags before protocol 2.12', () => {
    const value = readX86Boot(bzImage({ protocol: 0x020b, xloadflags: 0xffff })).value;
    expect(Object.values(value?.loadFlags ?? {})).not.toContain(true);
    expect(value?.kernelInfoOffset).toBe(0);
  });

  it('takes an image with a signature behind it', () => {
    const signed = new Uint8Array([...bzImage(), ...new Uint8Array(1472)]);
    expect(codesOf(signed)).toEqual([]);
  });

  const text = (value: string): Uint8Array => new TextEncoder().encode(value);
  it.each<[string, Uint8Array, string[]]>([
    ['nothing', new Uint8Array(0), ['image/empty']],
    ['one byte', new Uint8Array(1), ['image/not-x86-boot']],
    ['a text', text('this is not a kernel\n'.repeat(100)), ['image/not-x86-boot']],
    [
      'an ELF file',
      new Uint8Array([0x7f, 0x45, 0x4c, 0x46, ...new Uint8Array(4096)]),
      ['image/not-x86-boot'],
    ],
    ['an image cut within its header', bzImage().subarray(0, 0x230), ['image/truncated']],
    [
      'an image cut within its version string',
      bzImage().subarray(0, 0x1210),
      ['image/bad-field', 'image/truncated'],
    ],
    ['an image that lacks its last byte', bzImage().subarray(0, -1), ['image/truncated']],
    ['a protocol before payloads', bzImage({ protocol: 0x0207 }), ['image/old-protocol']],
    ['a payload beyond the code', bzImage({ payload: { offset: 4000, length: 97 } }), ['image/bad-field']],
    [
      'a payload of 4 GiB',
      bzImage({ payload: { offset: 0xffffffff, length: 0xffffffff } }),
      ['image/bad-field'],
    ],
    ['a version string beyond the setup code', bzImage({ versionAt: 0x1e00 }), ['image/bad-field']],
    ['a version string of another shape', bzImage({ version: 'hello' }), ['image/bad-field']],
    ['no version string', bzImage({ versionAt: 0 }), []],
  ])('reports what is wrong with %s', (_, bytes, codes) => {
    expect(codesOf(bytes)).toEqual(codes);
  });

  it('still reads the header of a truncated image', () => {
    expect(readX86Boot(bzImage().subarray(0, -1)).value?.kernelVersion?.release).toBe('6.1.192-otter');
  });

  it('never throws, whatever is changed or cut', () => {
    const shape: fc.Arbitrary<BzImageShape> = fc.record({
      protocol: fc.nat(0xffff),
      setupSectors: fc.nat(255),
      versionAt: fc.nat(0xffff),
      payload: fc.record({ offset: fc.nat(2 ** 32 - 1), length: fc.nat(2 ** 32 - 1) }),
      version: fc.string({ maxLength: 80 }),
    });
    fc.assert(
      fc.property(
        shape,
        fc.nat(140_000),
        fc.array(fc.tuple(fc.nat(0x400), fc.nat(255)), { maxLength: 8 }),
        (chosen, length, changes) => {
          const bytes = bzImage(chosen).slice(0, length);
          for (const [at, value] of changes) if (at < bytes.length) bytes[at] = value;
          const { value, diagnostics } = readX86Boot(bytes);
          expect(value !== undefined || diagnostics.length > 0).toBe(true);
          const end = (value?.payload?.offset ?? 0) + (value?.payload?.length ?? 0);
          if (value && end > bytes.length)
            expect(diagnostics.map(({ code }) => code)).toContain('image/truncated');
        },
      ),
      { numRuns: 500 },
    );
  });
});
