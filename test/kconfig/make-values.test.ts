import { spawnSync } from 'node:child_process';

import { describe, expect, it } from 'vitest';

import { MakeValues } from '../../src/kconfig/make-values.ts';

/** Our values of A, B, C in a Makefile; the commands of `answers` are known, others are not. */
function ours(makefile: string, answers: Readonly<Record<string, string>> = {}): MakeValues {
  return new MakeValues(
    {
      files: {
        read: (path) => (path === 'Makefile' ? makefile : path === 'more.mk' ? 'C += more\n' : undefined),
      },
      probes: { answer: (command) => answers[command] },
      overrides: new Map([['ARCH', 'arm64']]),
      defaults: new Map([
        ['HOME', '/otter'],
        ['CURDIR', '/build/linux'],
      ]),
    },
    'Makefile',
  );
}

/** GNU make's, with the same environment and command line. */
function gnuMake(makefile: string): readonly string[] {
  const shown = `${makefile}\n$(foreach v,A B C,$(info $v=[$($v)]))\nall:;@:\n`;
  const input = shown.replaceAll('include more.mk', 'C += more');
  const { stdout, stderr, status } = spawnSync('make', ['-s', '-f', '-', 'ARCH=arm64', 'all'], {
    input,
    env: { PATH: process.env['PATH'], HOME: '/otter', LC_ALL: 'C' },
    encoding: 'latin1',
  });
  if (status !== 0) throw new Error(stderr);
  return stdout.trimEnd().split('\n');
}

describe('MakeValues', () => {
  it.each<[string, string]>([
    ['flavours', 'X = 1\nA = $(X)\nB := $(X)\nX = 2\nC = $(X)$(A)$(B)'],
    ['adding', 'A := 1\nX := x\nA += $(X)\nX := y\nB = 1\nB += $(X)\nX := z\nC += only'],
    ['only when there is none', 'A ?= a\nA ?= b\nHOME ?= x\nB := $(HOME)\nC = c\nC ?= d'],
    ['command line above all', 'ARCH := x86\nA = $(ARCH)\nARCH ?= y\nB := $(ARCH)'],
    [
      'conditions',
      'ifeq ($(ARCH),arm64)\nA := yes\nelse\nA := no\nendif\nifneq "x" "x"\nB := 1\nelse ifdef HOME\nB := 2\nelse\nB := 3\nendif\nifndef NONE\nC = c\nendif',
    ],
    [
      'conditions in conditions',
      'ifdef NONE\nA := 1\nifdef HOME\nB := 1\nelse\nB := 2\nendif\nelse\nA := 2\nendif\nC := $(A)$(B)',
    ],
    [
      'a variable that is defined as nothing',
      'X :=\nifdef X\nA := 1\nelse\nA := 2\nendif\nY = $(X)\nifdef Y\nB := 1\nendif',
    ],
    [
      'continued lines and comments',
      'A := a \\\n\tb \\\n   c # no\nB := a\\#b # c\nC = $(subst b,x,\\\n  abc)',
    ],
    [
      'text functions',
      'A := $(patsubst %.o,%.c,a.o b.x c.o) $(filter-out b%,a b bb c) $(sort c a b a)\nB := $(word 2,a b c) $(words a b c) $(firstword x y) $(lastword x y) $(wordlist 2,3,a b c d)\nC := $(dir a/b c) $(notdir a/b) $(basename a.b.c) $(suffix x.c) $(addprefix p,1 2) $(addsuffix s,1 2)',
    ],
    [
      'functions of paths, and what is said to somebody who builds',
      'A := $(filter %.o b,a.o b c) $(abspath /otter/../bank//./x) $(realpath /usr/..)\nX = $(A)\nB := $(value X)\nC := a$(warning careful)$(eval Z := 1)b',
    ],
    [
      'choosing functions',
      'A := $(if $(NONE),1,2)$(if x,3)$(or ,$(NONE),4)$(and 1,,2)|\nB := $(foreach v,1 2,<$v$(v)>)\nC := $(origin HOME) $(origin ARCH) $(origin A) $(origin NONE)',
    ],
    ['replacing in references', 'X := a.o b.o\nA := $(X:.o=.c)\nB := $(X:%.o=lib%.so)\nC := ${X}'],
    [
      'calling',
      'f = <$(1)|$(2)>\nA := $(call f,x,y z)\nB := $(call f,$(call f,a,b),c)\nname = f\nC := $(call $(name),1)',
    ],
    ['computed names', 'A-arm64 := found\nA := $(A-$(ARCH))\n$(ARCH)_B := b\nB := $(arm64_B)\nC := $$x'],
    [
      'definitions of several lines',
      'define A\none\ntwo\nendef\nB := $(words $(A))\ndefine f =\n[$(1)]\nendef\nC := $(call f,x)',
    ],
    [
      'rules, recipes and variables of a target',
      'zz: A := 1\nzz: b\n\tA := recipe\nb: ; @:\nA := 2\nifdef A\nyy:\n\tA := 3\nendif\n\tB := 4',
    ],
    ['including', 'C := first\ninclude more.mk\n-include none.mk\nifdef NONE\ninclude none.mk\nendif'],
    ['the shell', 'A := $(shell echo a; echo b)\nB != echo c\nC = $(shell true)'],
    ['blanks around things', 'A   :=   a b  \nB:=x\nC = \\\n  y'],
    [
      'equality of what is not simple',
      'ifeq ($(strip  a b ), a b)\nA := 1\nendif\nifneq (,$(findstring arm,$(ARCH)))\nB := 2\nendif\nifeq (a,b)\nC := 3\nelse\nC := 4\nendif',
    ],
    ['an override', 'override ARCH := x\nA := a\noverride A += b\nB := 1'],
  ])('has what GNU make has: %s', (_, makefile) => {
    const values = ours(makefile, { 'echo a; echo b': 'a\nb\n', 'echo c': 'c\n', true: '' });
    const known = gnuMake(makefile);
    const mine = ['A', 'B', 'C'].map((name) => `${name}=[${values.value(name) ?? ''}]`);
    expect(mine.join('\n')).toBe(known.join('\n'));
  });

  it('exports what is to be exported, in order', () => {
    const names = ours(
      'export A := 1\nexport B C\nunexport B\nifdef NONE\nexport D\nendif\nX := E F\nexport $(X)\n',
    ).exported();
    expect([...names]).toEqual(['A', 'C', 'E', 'F']);
  });

  it('asks only what somebody wants to know', () => {
    const makefile =
      'A := $(shell costly)\nB := $(shell cheap)\nifeq ($(shell dear),y)\nA := 2\nendif\nC := $(B)c\n';
    const values = ours(makefile);
    expect(values.value('C')).toBeUndefined();
    expect([...values.missing]).toEqual(['cheap']);
    const again = ours(makefile, { cheap: 'b' });
    expect(again.value('C')).toBe('bc');
    expect([...again.missing]).toEqual([]);
    expect([...again.asked]).toEqual(['cheap']);
  });

  it('asks no command that an unknown answer is part of', () => {
    const values = ours('A := $(shell first)\nB := $(shell second $(A))\n');
    expect(values.value('B')).toBeUndefined();
    expect([...values.missing]).toEqual(['first']);
  });

  it.each<[string, string]>([
    ['itself', 'A = $(A)'],
    ['itself, over another', 'A = $(B)\nB = $(A)'],
    ['itself, called', 'f = $(call f,$(1)x)\nA := $(call f,y)'],
    ['what is not closed', 'A := $(B\nifeq (x\nendif'],
    ['ends without beginning', 'endif\nelse\nendef\nA := 1'],
    ['deep parentheses', `A := ${'$('.repeat(5000)}x${')'.repeat(5000)}`],
    ['including itself', 'include Makefile\nA := 1'],
  ])('ends with a Makefile that has %s', (_, makefile) => {
    const values = ours(makefile);
    expect(typeof (values.value('A') ?? '')).toBe('string');
  });
});
