import fc from 'fast-check';
import { describe, expect, it } from 'vitest';

import {
  createPack,
  decodePack,
  encodePack,
  isPackPath,
  type Pack,
  type PackFile,
} from '../../src/kconfig/pack.ts';
import { isPackFile, namedFiles } from '../../src/kconfig/pack-files.ts';

const source = 'ab'.repeat(32);
const bytes = (text: string): Uint8Array => Buffer.from(text, 'latin1');
const file = (text: string, executable = false): PackFile => ({ content: bytes(text), executable });
const text = (content: Uint8Array): string => Buffer.from(content).toString('latin1');

const small = createPack(
  source,
  [
    ['scripts/cc-version.sh', file('#!/bin/sh\n', true)],
    ['Kconfig', file('mainmenu "Otter Bank \xe4"\n')],
    ['arch/x86/Kconfig', file('')],
  ],
  { newest: 1767225600, keys: new Set(['keys/gauge.pem', 'certs/otter bank.x509']) },
);
const smallText = `quern-kconfig-pack 3
source ${source}
newest 1767225600
keys 2
certs/otter bank.x509
keys/gauge.pem
files 3
- 24 Kconfig
- 0 arch/x86/Kconfig
x 10 scripts/cc-version.sh
mainmenu "Otter Bank \xe4"
#!/bin/sh
`;

const contents = (pack: Pack | undefined): readonly unknown[] =>
  [...(pack?.files ?? [])].map(([path, { content, executable }]) => [path, { content, executable }]);

describe('a pack', () => {
  it('is written as its format says', () => {
    expect(text(encodePack(small))).toBe(smallText);
  });

  it('reads texts in latin1, and knows what is in a folder', () => {
    const { value } = decodePack(bytes(smallText), 'p');
    expect(value?.read('Kconfig')).toBe('mainmenu "Otter Bank \xe4"\n');
    expect(value?.read('Kconfig')).toBe(small.read('Kconfig'));
    expect(value?.read('kconfig')).toBeUndefined();
    expect(value?.list('arch/x86')).toEqual(['Kconfig']);
    expect(value?.list('arch')).toEqual(['x86']);
    expect(value?.list('')).toEqual(['Kconfig', 'arch', 'scripts']);
    expect(value?.list('arc')).toEqual([]);
    expect([...(value?.paths() ?? [])]).toEqual(['Kconfig', 'arch/x86/Kconfig', 'scripts/cc-version.sh']);
    expect(value?.newest).toBe(1767225600);
    expect([...(value?.keys ?? [])]).toEqual(['certs/otter bank.x509', 'keys/gauge.pem']);
    expect(value?.files.get('scripts/cc-version.sh')?.executable).toBe(true);
  });

  const path = fc
    .array(fc.stringMatching(/^[A-Za-z0-9_.+ -]{1,8}$/), { minLength: 1, maxLength: 4 })
    .map((parts) => parts.join('/'))
    .filter(isPackPath);
  const files = fc.array(fc.tuple(path, fc.uint8Array({ maxLength: 60 }), fc.boolean()), { maxLength: 12 });

  it('comes out as it went in, whatever the order of its files', () => {
    fc.assert(
      fc.property(files, (list) => {
        const entries = [
          ...new Map(list.map(([name, content, executable]) => [name, { content, executable }] as const)),
        ];
        const encoded = encodePack(createPack(source, entries));
        expect(encodePack(createPack(source, entries.toReversed()))).toEqual(encoded);
        const { value, diagnostics } = decodePack(encoded, 'p');
        expect(diagnostics).toEqual([]);
        expect(value?.source).toBe(source);
        expect(contents(value)).toEqual(entries.sort(([a], [b]) => (a < b ? -1 : 1)));
      }),
    );
  });

  it('is read in parts, a head that is longer than one of them too', () => {
    const names = Array.from({ length: 3000 }, (_, nth) => `arch/gauge/${'station-'.repeat(4)}${nth}`);
    const entries = names.map(
      (name) => [name, { content: Uint8Array.from(bytes(name)), executable: false }] as const,
    );
    const encoded = encodePack(createPack(source, entries));
    const asked: number[] = [];
    const { value } = decodePack(
      {
        length: encoded.length,
        subarray(start, end) {
          asked.push(end - start);
          return encoded.subarray(start, end);
        },
      },
      'p',
    );
    expect(Math.max(...asked)).toBeLessThan(100_000);
    expect(contents(value)).toEqual([...entries].sort(([a], [b]) => (a < b ? -1 : 1)));
  });

  it('is refused when a byte of it is missing, at whatever place', () => {
    const whole = encodePack(small);
    for (let length = 0; length < whole.length; length += 1) {
      const { value, diagnostics } = decodePack(whole.subarray(0, length), 'p');
      expect(value).toBeUndefined();
      expect(diagnostics).toMatchObject([{ code: 'kconfig/bad-pack', exit: 4 }]);
    }
  });

  it.each<[string, string, string]>([
    ['nothing', '', 'does not begin'],
    ['something else', '\x7fELF', 'does not begin'],
    ['a byte too many', `${smallText}x`, 'bytes where its index makes'],
    ['no source', smallText.replace(/source .*/, 'source x'), 'which source'],
    ['no time', smallText.replace('newest 1767225600', 'newest never'), 'how old'],
    ['too many keys', smallText.replace('keys 2', 'keys 999999'), 'how many keys'],
    [
      'keys out of order',
      smallText.replace(/(certs.*\n)(keys\/gauge.*\n)/, '$2$1'),
      'certs/otter bank.x509` is out of order',
    ],
    ['a key out of the tree', smallText.replace('keys/gauge', '../gauge'), 'no path inside a tree'],
    ['too many files', smallText.replace('files 3', 'files 999999'), 'how many files'],
    ['an unknown kind of file', smallText.replace('x 10', 'l 10'), 'line 3 of its index'],
    ['a size that is none', smallText.replace('- 24', '- 2e1'), 'line 1 of its index'],
    ['a size beyond the end', smallText.replace('- 24', '- 999999999'), 'bytes where its index makes'],
    ['a way out of the tree', smallText.replace('arch/x86/', 'arch/../..'), 'no path inside a tree'],
    ['an absolute path', smallText.replace('arch/x86/', '/etc/'), 'no path inside a tree'],
    ['a path that is no text', smallText.replace('arch/x86/', 'arch/\x1b[2J/'), 'no path inside a tree'],
    ['files out of order', smallText.replace('arch/x86/', 'A/'), 'out of order'],
    ['a file twice', smallText.replace('arch/x86/Kconfig', 'Kconfig'), 'out of order'],
    [
      'a line without end',
      `quern-kconfig-pack 3\nsource ${source}\nnewest 0\nkeys 0\nfiles 1\n- 1 ${'x'.repeat(5000)}`,
      'line 1 of its index',
    ],
  ])('with %s is refused', (_, content, why) => {
    const { value, diagnostics } = decodePack(bytes(content), 'otter.pack');
    expect(value).toBeUndefined();
    expect(diagnostics[0]?.message).toContain('`otter.pack`');
    expect(diagnostics[0]?.message).toContain(why);
  });

  it('of another version says so', () => {
    const { diagnostics } = decodePack(bytes(smallText.replace('pack 3', 'pack 2')), 'p');
    expect(diagnostics).toMatchObject([{ code: 'kconfig/pack-version' }]);
  });

  it('is read or refused, whatever has become of its bytes', () => {
    const whole = encodePack(small);
    fc.assert(
      fc.property(
        fc.array(fc.tuple(fc.nat(whole.length - 1), fc.nat(255)), { minLength: 1, maxLength: 4 }),
        (flips) => {
          const changed = Uint8Array.from(whole);
          for (const [at, byte] of flips) changed[at] = byte;
          const { value, diagnostics } = decodePack(changed, 'p');
          expect(value === undefined).toBe(diagnostics.length > 0);
          for (const name of value?.files.keys() ?? []) expect(isPackPath(name)).toBe(true);
        },
      ),
      { numRuns: 500 },
    );
  });

  it.each([['../Kconfig'], ['/Kconfig'], [''], ['a//b'], ['a/./b'], ['a\nb'], ['ötter'], ['x'.repeat(1100)]])(
    'has no file called %j',
    (name) => {
      expect(isPackPath(name)).toBe(false);
      expect(() => encodePack(createPack(source, [[name, file('')]]))).toThrow(RangeError);
    },
  );

  it('is of a source', () => {
    expect(() => encodePack(createPack('6.1', []))).toThrow(RangeError);
    const keys = new Set(['../gauge.pem']);
    expect(() => encodePack(createPack(source, [], { newest: 0, keys }))).toThrow(RangeError);
  });
});

describe('isPackFile', () => {
  it.each([
    ['Kconfig', true],
    ['Makefile', true],
    ['arch/x86/Kconfig.cpu', true],
    ['arch/arm/mach-otter/Kconfig-nommu', true],
    ['drivers/gauge/Kconfig', true],
    ['drivers/gauge/Makefile', false],
    ['drivers/gauge/gauge.c', false],
    ['arch/x86/configs/x86_64_defconfig', true],
    ['arch/mips/configs/generic/board-virt.config', true],
    ['kernel/configs/tiny.config', true],
    ['arch/powerpc/Makefile.postlink', true],
    ['arch/powerpc/boot/Makefile', false],
    ['arch/s390/tools/gcc-thunk-extern.sh', true],
    ['scripts/cc-version.sh', true],
    ['scripts/Kconfig.include', true],
    ['scripts/rust_is_available_bindgen_libclang.h', true],
    ['scripts/kconfig/parser.y', true],
    ['scripts/kconfig/tests/choice/Kconfig', false],
    ['scripts/checkpatch.pl', false],
    ['Documentation/kbuild/Kconfig.recursion-issue-01', false],
    ['Documentation/process/changes.rst', true],
    ['Documentation/process/changes.rst.orig', false],
    ['tools/Documentation/process/changes.rst', false],
    ['tools/testing/selftests/bpf/Kconfig', false],
    ['net/Kconfigure/x.c', false],
  ])('%s: %s', (path, kept) => {
    expect(isPackFile(path)).toBe(kept);
  });

  it('leaves files of other names to those that name them', () => {
    const kconfig =
      'source "drivers/gauge/options"\nsource "arch/$(SRCARCH)/Kconfig"\n\tdef_bool $(success,$(srctree)/tools/weir.py y)\n';
    expect([...namedFiles([kconfig])]).toEqual(['drivers/gauge/options', 'tools/weir.py']);
  });
});
