/** Reasons that lie outside the options: probes, variables of the Makefile, other architectures. */
import { describe, expect, test } from 'vitest';

import { createProbeTrace } from '../../src/kconfig/probe-trace.ts';
import { probeRemedy } from '../../src/kconfig/probe-remedy.ts';
import { asked, judgeSmall, kconfig, type Small } from './judge-small.ts';

const macros = kconfig`
  # macros, as a tree has them
  comma := ,
  success = $(shell,{ $(1); } && echo y || echo n)
  cc-option = $(success,$(CC) $(1) -c -x c /dev/null)
  cc-info := $(shell,scripts/cc-version.sh $(CC))
  cc-name := $(shell,name-of $(cc-info))
  cc-name += plain
`;

const tree = `${macros}
config CC_IS_CLANG
	def_bool $(success,test "$(cc-name)" = Clang)

config SHADOW
	bool "Shadow stack"
	depends on $(cc-option,-fsanitize=kcfi)

config CC_HAS_FAST
	def_bool $(cc-option,-ffast$(comma)er) && \\
		CC_IS_CLANG

config FAST
	bool "Fast"
	depends on CC_HAS_FAST

config PAHOLE_VERSION
	int
	default "$(PAHOLE_VERSION)"

config BTF
	bool "Type information"
	depends on PAHOLE_VERSION >= 116

config PLUGINS
	bool "Plugins"
	depends on $(success,test -e $(shell,$(CC) -print-file-name=plugin)/include/plugin-version.h)

config LAYOUT
	bool
	default y if PLUGINS

config WIDE
	bool "Wide"
	depends on "$(ARCH)" = "x86"

config NEVER
	bool "Never"
	depends on n

config SVE_USER
	bool "Uses SVE"
	depends on ARM64_SVE
`;

const small: Small = {
  probes: (command) =>
    command.includes('cc-version') ? 'GCC 120200\n' : command.includes('-print') ? '/lib/plugin\n' : 'n\n',
  environment: {
    CC: 'gcc',
    ARCH: 'arm',
    PAHOLE_VERSION: '0',
    CC_VERSION_TEXT: 'gcc (Debian 12.2.0-14) 12.2.0',
  },
  files: {
    'arch/arm64/Kconfig':
      'config ARM64\n\tdef_bool y\nconfig ARM64_SVE\n\tbool "SVE"\nsource "drivers/sve/Kconfig"\n',
    'arch/arm64/notes': 'config NOTES\n',
    'drivers/sve/Kconfig': 'config SVE_FAST\n\tbool "x"\n',
    'arch/loong/Kconfig': 'config TWICE\n\tbool "x"\nconfig TWICE\n\tbool "y"\n',
    'arch/riscv/Kconfig': 'config TWICE\n\tbool "x"\n',
    'drivers/empty/Kconfig': '',
    'drivers/lost/Kconfig': 'config LOST\n\tbool "x"\n',
    'scripts/kconfig/tests/Kconfig': 'config OF_A_TEST\n\tbool "x"\n',
  },
};

function judged(...texts: readonly string[]): ReturnType<typeof judgeSmall>[number] {
  const verdict = judgeSmall(tree, asked(...texts), small).at(-1);
  if (!verdict) throw new Error('nothing was asked');
  return verdict;
}

describe('probes', () => {
  test('a dependency that a probe denies', () => {
    const { reason, message, verdict } = judged('SHADOW=y');
    expect(verdict).toBe('dropped');
    expect(reason).toMatchObject({
      kind: 'probe',
      probes: [
        {
          written: '$(cc-option,-fsanitize=kcfi)',
          command: '{ gcc -fsanitize=kcfi -c -x c /dev/null; } && echo y || echo n',
          answer: 'n',
          file: 'Kconfig',
          line: 14,
          remedy: { toolchain: 'clang' },
        },
      ],
    });
    expect(message).toBe(
      'It needs something of the environment that it does not have (Kconfig:14). The environment was asked `$(cc-option,-fsanitize=kcfi)` and answered `n`: the kernel must be compiled with clang instead of gcc (`LLVM=1`).',
    );
  });

  test('a probe behind an option, on a continued line', () => {
    const { reason } = judged('FAST=y');
    expect(reason).toMatchObject({ kind: 'probe', terms: [{ option: 'CC_HAS_FAST' }] });
    expect(JSON.stringify(reason)).toContain('-ffast,er -c -x c');
  });

  test('an option that only says what the compiler is, over variables that were asked for before', () => {
    const { reason, message } = judged('CC_IS_CLANG=y');
    expect(reason).toMatchObject({
      kind: 'no-prompt',
      probes: [
        { command: '{ test "n plain" = Clang; } && echo y || echo n', remedy: { toolchain: 'clang' } },
        { command: 'name-of GCC 120200' },
      ],
    });
    expect(message).toContain('no option changes it');
  });

  test('the package that has what is missing', () => {
    const { reason, message } = judged('PLUGINS=y');
    expect(reason).toMatchObject({ probes: [{ remedy: { packages: ['gcc-12-plugin-dev'] } }] });
    expect(message).toContain('install the headers for compiler plugins, `gcc-12-plugin-dev`.');
    expect(judged('LAYOUT=y').message).toContain('gcc-12-plugin-dev');
  });

  test('a variable of the Makefile', () => {
    const { reason, message } = judged('BTF=y');
    expect(reason).toMatchObject({
      kind: 'probe',
      terms: [{ term: 'PAHOLE_VERSION >= 116', value: '0', needs: '>= 116' }],
      probes: [{ name: 'PAHOLE_VERSION', value: '0', remedy: { packages: ['dwarves'] } }],
    });
    expect(message).toBe(
      'It needs PAHOLE_VERSION >= 116, and that is `0` (Kconfig:30). The environment gives PAHOLE_VERSION as `0`: install pahole, or a newer version of it.',
    );
    expect(judged('WIDE=y').message).toBe(
      'It needs `"arm" = "x86"`, which the environment decides (Kconfig:42). The environment gives ARCH as `arm`: that follows from the architecture that the kernel is built for. It cannot be so here: leave WIDE out.',
    );
  });

  test('what follows from a variable is not to be asked for', () => {
    const text = kconfig`
      config 64BIT
        bool "64-bit kernel" if "$(ARCH)" = "x86"
        default "$(ARCH)" != "i386"
      config X86_32
        def_bool !64BIT
      config HIGHMEM4G
        bool "4GB"
        depends on X86_32
    `;
    const verdict = judgeSmall(text, asked('HIGHMEM4G=y'), { environment: { ARCH: 'x86_64' } })[0];
    expect(verdict).toMatchObject({
      verdict: 'dropped',
      reason: { kind: 'probe', terms: [{ option: 'X86_32', never: true }], probes: [{ name: 'ARCH' }] },
    });
    expect(verdict?.message).toMatch(
      /The environment gives ARCH as `x86_64`: .*\. It cannot be so here: leave HIGHMEM4G out\.$/u,
    );
    expect(verdict?.message).not.toContain('Ask for');
    // Where the variable leaves the choice, it is one.
    expect(judgeSmall(text, asked('HIGHMEM4G=y'), { environment: { ARCH: 'x86' } })[0]?.message).toMatch(
      /Ask for 64BIT=n too\.$/u,
    );
  });

  test('where one term has no hope, the others are not asked for', () => {
    const text = kconfig`
      config TTY
        bool "Terminals"
      config SERIAL_8250
        bool "8250"
        depends on TTY
      config SERIAL_ZS
        bool "ZS"
        depends on TTY && ARM64_SVE
      config ZS_CONSOLE
        bool "Console on ZS"
        depends on TTY
        depends on SERIAL_ZS
      config CONSOLE
        bool "Console"
        depends on SERIAL_ZS || SERIAL_8250
    `;
    const judge = (option: string): string | undefined => judgeSmall(text, asked(option), small)[0]?.message;
    expect(judge('ZS_CONSOLE=y')).toBe(
      'It needs SERIAL_ZS, which is off (Kconfig:12). SERIAL_ZS in turn needs ARM64_SVE, which this architecture does not have (Kconfig:8). ARM64_SVE does not exist for this architecture (only for arm64). It cannot be so here: leave ZS_CONSOLE out.',
    );
    expect(judge('CONSOLE=y')).toMatch(/Ask for TTY=y and SERIAL_8250=y too\.$/u);
  });

  test('what is n without any probe', () => {
    expect(judged('NEVER=y').message).toBe(
      'It needs `n`, which is never so here (Kconfig:46). Nothing makes `n` true in this tree. It cannot be so here: leave NEVER out.',
    );
  });

  test('macros that cannot be read, and places that are not there, give no trace', () => {
    const files = new Map([
      ['Kconfig', 'a = $(b)\nb = $(a)\nc := $(a)\nconfig A\n\tdef_bool $(c)\n'],
      ['Fine', 'config A\n\tdef_bool $(open\n'],
      // The line looks like an assignment, but is a help text.
      ['Help', 'config A\n\tdef_bool $(shell,true)\n\thelp\nX := $(open\n'],
    ]);
    const input = {
      files: { read: (name: string) => files.get(name) },
      probes: { answer: () => 'y' },
      environment: {},
    };
    const none = { probes: [], variables: [] };
    expect(
      createProbeTrace({ ...input, paths: ['Kconfig', 'Missing'] }).at({ file: 'Kconfig', line: 5 }),
    ).toEqual(none);
    expect(createProbeTrace({ ...input, paths: ['Help'] }).at({ file: 'Help', line: 2 })).toEqual(none);
    const trace = createProbeTrace({ ...input, paths: [] });
    expect(trace.at({ file: 'Fine', line: 2 })).toEqual(none);
    expect(trace.at({ file: 'Fine', line: 99 })).toEqual(none);
    expect(trace.at({ file: 'Missing', line: 1 })).toEqual(none);
  });

  test.each<[string | undefined, string, readonly string[] | undefined]>([
    [undefined, 'gcc -Wa,-march=armv9 -c', ['binutils']],
    [undefined, 'ld -v --relax', ['binutils']],
    [undefined, 'gcc -Werror -fx -c -x c /dev/null', ['gcc']],
    [undefined, 'scripts/rust_is_available.sh', ['rustc', 'rust-src', 'bindgen', 'libclang-dev']],
    [undefined, './scripts/cc-can-link.sh gcc -m32', ['libc6-dev']],
    [undefined, './scripts/pahole-version.sh pahole', ['dwarves']],
    [undefined, 'gcc -print-file-name=plugin', ['gcc-plugin-dev']],
    ['LD_IS_LLD', 'test x', ['lld']],
    [undefined, 'uname -r', undefined],
  ])('remedy for %s %s', (option, command, packages) => {
    expect(probeRemedy(option, command, 'clang version 19')?.packages).toEqual(packages);
  });
});

describe('other architectures', () => {
  test.each([
    [
      'ARM64_SVE=y',
      'This architecture has no such option; arm64 has (arch/arm64/Kconfig:3). Leave the request out for this architecture.',
    ],
    [
      'SVE_FAST=y',
      'This architecture has no such option; arm64 has (drivers/sve/Kconfig:1). Leave the request out for this architecture.',
    ],
    [
      'TWICE=y',
      'This architecture has no such option; loong and riscv have (arch/loong/Kconfig:1). Leave the request out for this architecture.',
    ],
    [
      'LOST=y',
      'This architecture has no such option; others have (drivers/lost/Kconfig:1). Leave the request out for this architecture.',
    ],
    [
      'OF_A_TEST=y',
      'This tree has no such option, no release looked at has it, and no name is near. Leave the request out.',
    ],
    [
      'SVE_USER=y',
      'It needs ARM64_SVE, which this architecture does not have (Kconfig:50). ARM64_SVE does not exist for this architecture (only for arm64). It cannot be so here: leave SVE_USER out.',
    ],
  ])('%s', (text, message) => {
    expect(judged(text).message).toBe(message);
  });
});
