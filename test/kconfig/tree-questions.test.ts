/** Variables and questions of real trees, against what the kernel's own make exports and its own program asks. */
import { describe, expect, it } from 'vitest';

import { makeEnvironment } from '../../src/kconfig/make-environment.ts';
import { mentionedVariables, readTree } from '../../src/kconfig/tree-questions.ts';
import { orSkip } from '../oracle/apt-root.ts';
import type { KernelArchitecture } from '../oracle/kconfig-program.ts';
import { kernelTree, type KernelSeries } from '../oracle/kernel-trees.ts';
import { compareWithMake } from './compare-with-make.ts';

it.for<[KernelSeries, KernelArchitecture]>([
  ['6.1', 'x86_64'],
  ['6.12', 'arm64'],
])(
  'Linux %s on %s: the variables of make, the questions of its program',
  { timeout: 300_000 },
  async ([series, arch], context) => {
    const tree = await orSkip(context, kernelTree(series));
    const { questions } = await orSkip(context, compareWithMake(tree, arch));
    expect(questions).toBeGreaterThan(40);
  },
);

/** A tree of a few lines. */
const weir = (more: Readonly<Record<string, string>> = {}): { read(path: string): string | undefined } => {
  const files: Readonly<Record<string, string>> = {
    Makefile: [
      'VERSION = 6',
      'PATCHLEVEL = 1',
      'SUBLEVEL = 9',
      'EXTRAVERSION =',
      'KERNELVERSION = $(VERSION).$(PATCHLEVEL).$(SUBLEVEL)$(EXTRAVERSION)',
      'srctree := .',
      'SRCARCH := $(ARCH)',
      'ifeq ($(ARCH),x86_64)',
      'SRCARCH := x86',
      'endif',
      'CC = $(CROSS_COMPILE)gcc',
      'CC_VERSION_TEXT = $(shell $(CC) --version | head -n 1)',
      'WEIR_TEXT = $(shell weir --version)',
      'include arch/$(SRCARCH)/Makefile',
      'export ARCH SRCARCH KERNELVERSION CC CC_VERSION_TEXT WEIR_TEXT KBUILD_DEFCONFIG srctree',
      '',
    ].join('\n'),
    'arch/x86/Makefile': 'KBUILD_DEFCONFIG := $(ARCH)_defconfig\n',
    Kconfig: 'config A\n\tdef_bool $(shell,test "$(CC_VERSION_TEXT)" && echo y)\n',
    ...more,
  };
  return { read: (path) => files[path] };
};

describe('readTree', () => {
  it('asks make for a variable that nobody knew of and a Kconfig file expands', () => {
    const tree = weir({
      'arch/x86/Makefile':
        'KBUILD_DEFCONFIG := $(ARCH)_defconfig\nKBUILD_WEIR_FLAGS := -weir\nexport KBUILD_WEIR_FLAGS\n',
      Kconfig: 'config A\n\tstring\n\tdefault "$(KBUILD_WEIR_FLAGS) $(nobody)"\n',
    });
    const answers = new Map([['gcc --version | head -n 1', 'gcc 12']]);
    const make = makeEnvironment(tree, { arch: 'x86_64' }, { answer: () => undefined });
    expect(make.variables).not.toHaveProperty('KBUILD_WEIR_FLAGS');
    const reading = readTree(tree, { arch: 'x86_64' }, answers);
    if (reading.kind !== 'whole') throw new Error(`asks ${reading.questions.commands.join(', ')}`);
    expect(reading.make.variables).toHaveProperty('KBUILD_WEIR_FLAGS', '-weir');
    const [option] = reading.parsed.model?.byName.get('A')?.defaults ?? [];
    expect(option?.value).toMatchObject({ symbol: { name: '-weir ' } });
  });
});

describe('makeEnvironment', () => {
  const probes = { answer: () => undefined };

  it('tells what is known, and what has to be asked for the rest', () => {
    expect(makeEnvironment(weir(), { arch: 'x86_64', crossCompile: 'otter-' }, probes)).toEqual({
      variables: {
        ARCH: 'x86_64',
        CC: 'otter-gcc',
        KBUILD_DEFCONFIG: 'x86_64_defconfig',
        KERNELVERSION: '6.1.9',
        SRCARCH: 'x86',
        srctree: '.',
      },
      sourceArch: 'x86',
      kernelVersion: '6.1.9',
      defconfig: 'x86_64_defconfig',
      missing: ['otter-gcc --version | head -n 1'],
      asked: [],
    });
  });

  it('asks for variables that somebody wants besides', () => {
    const { missing } = makeEnvironment(weir(), { arch: 'x86_64' }, probes, new Set(['WEIR_TEXT']));
    expect(missing).toEqual(['weir --version']);
  });

  it('calls the usual configuration defconfig where the architecture says nothing', () => {
    expect(makeEnvironment(weir(), { arch: 'arm64' }, probes)).toMatchObject({
      sourceArch: 'arm64',
      defconfig: 'defconfig',
    });
  });
});

describe('readTree', () => {
  it('asks the Makefiles first, then the Kconfig files, and keeps what was used', () => {
    const first = readTree(weir(), { arch: 'x86_64' }, new Map());
    expect(first).toEqual({
      kind: 'asks',
      questions: { commands: ['gcc --version | head -n 1'], variables: {} },
    });
    const answers = new Map([
      ['gcc --version | head -n 1', 'gcc 12'],
      ['never asked', 'x'],
    ]);
    const second = readTree(weir(), { arch: 'x86_64' }, answers);
    expect(second).toMatchObject({
      kind: 'asks',
      questions: {
        commands: ['test "gcc 12" && echo y'],
        variables: { CC: 'gcc', CC_VERSION_TEXT: 'gcc 12' },
      },
    });
    const whole = readTree(
      weir(),
      { arch: 'x86_64' },
      new Map([...answers, ['test "gcc 12" && echo y', 'y']]),
    );
    if (whole.kind !== 'whole') throw new Error('it asks on');
    expect([...whole.answers.keys()]).toEqual(['gcc --version | head -n 1', 'test "gcc 12" && echo y']);
    expect(whole.parsed.model?.byName.get('A')).toBeDefined();
  });
});

describe('mentionedVariables', () => {
  it('finds what Kconfig files expand, and what the scripts that they run look at', () => {
    const texts = new Map([
      ['init/Kconfig', 'config A\n\tdef_bool $(success,$(srctree)/scripts/weir.sh $(WEIR))\n'],
      ['scripts/weir.sh', 'test "$LEVEL" -gt 3 && exec $(dirname $0)/gate.sh ${GATE:-1}\n'],
      ['scripts/gate.sh', 'echo $WHEEL\n'],
      ['scripts/other.sh', 'echo $ELSEWHERE\n'],
    ]);
    const mentioned = mentionedVariables(texts);
    expect(['WEIR', 'LEVEL', 'GATE', 'WHEEL', 'ELSEWHERE'].map((name) => mentioned.has(name))).toEqual([
      true,
      true,
      true,
      true,
      false,
    ]);
  });
});
