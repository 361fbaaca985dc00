/**
 * More than a hundred thousand damaged, senseless and hostile inputs, real ones of the kernel's trees among them: each
 * ends in a result or in errors with their places, within a second, and none in an exception.
 */
import { readFileSync, readdirSync } from 'node:fs';
import path from 'node:path';

import fc from 'fast-check';
import { afterAll, expect, test } from 'vitest';

import { configure, type ConfigMode } from '../../src/kconfig/configure.ts';
import { dialects } from '../../src/kconfig/dialect.ts';
import type { Model } from '../../src/kconfig/model.ts';
import { parseTree } from '../../src/kconfig/parse-tree.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { kernelSeries, kernelTree } from '../oracle/kernel-trees.ts';
import { filesBelow, kconfigTexts } from '../oracle/our-kconfig.ts';
import {
  configWords,
  damagedSnippet,
  edited,
  edits,
  garbage,
  kconfigWords,
  manner,
  newSurvey,
  repeatedFiles,
  repetitions,
  snippetTexts,
  surviveConfig,
  surviveTree,
  wordSoup,
  type Manner,
} from './robustness.ts';

const survey = newSurvey();
afterAll(() => {
  process.stdout.write(`hostile inputs: ${JSON.stringify(survey)}\n`);
});

/** Sees to it that so many inputs have been read. */
function counted(runs: number, read: () => void): void {
  const before = survey.inputs;
  read();
  expect(survey.inputs - before).toBe(runs);
}

const plain: Manner = { release: '6.12', mode: 'olddefconfig', answer: 'n\n', lenient: true };

test.for(kernelSeries)('damaged Kconfig files of Linux %s, 13,000 of them', async (series, context) => {
  const texts = kconfigTexts((await orSkip(context, kernelTree(series))).folder);
  counted(13_000, () => {
    fc.assert(
      fc.property(fc.nat(texts.length - 1), edits, manner, (index, list, how) => {
        surviveTree(survey, { Kconfig: edited(texts[index] ?? '', list, kconfigWords) }, how, '');
      }),
      { numRuns: 13_000 },
    );
  });
});

test.for(kernelSeries)(
  'damaged configurations for such files of Linux %s, 6,000 of them',
  async (series, context) => {
    const { folder } = await orSkip(context, kernelTree(series));
    const models = kconfigTexts(folder).flatMap((text) => modelOfFile(text, series) ?? []);
    const modes: readonly ConfigMode[] = ['olddefconfig', 'defconfig', 'allnoconfig', 'allmodconfig'];
    expect(models.length).toBeGreaterThan(500);
    counted(6000, () => {
      fc.assert(
        fc.property(fc.nat(models.length - 1), edits, fc.constantFrom(...modes), (index, list, mode) => {
          const model = models[index];
          if (!model) throw new Error('there is no such model');
          const config = configure(model, 'allmodconfig').text;
          surviveConfig(survey, model, mode, edited(config, list, [...configWords, ...model.byName.keys()]));
        }),
        { numRuns: 6000 },
      );
    });
  },
);

function modelOfFile(text: string, release: Manner['release']): Model | undefined {
  const { model } = parseTree({
    files: { read: (name) => (name === 'Kconfig' ? text : '') },
    probes: { answer: () => 'n\n' },
    environment: {},
    dialect: dialects[release],
  });
  return model && model.byName.size > 5 ? model : undefined;
}

test('damaged defconfigs for a whole tree, 400 of them', async (context) => {
  const { folder } = await orSkip(context, kernelTree('6.12'));
  const { model } = parseTree({
    files: filesBelow(folder),
    probes: { answer: () => 'n\n' },
    environment: { ARCH: 'arm', SRCARCH: 'arm' },
  });
  if (!model) throw new Error('the tree is not read');
  const configs = path.join(folder, 'arch', 'arm', 'configs');
  const texts = readdirSync(configs).map((name) => readFileSync(path.join(configs, name), 'latin1'));
  counted(400, () => {
    fc.assert(
      fc.property(fc.nat(texts.length - 1), edits, (index, list) => {
        surviveConfig(survey, model, 'defconfig', edited(texts[index] ?? '', list, configWords));
      }),
      { numRuns: 400 },
    );
  });
});

test('damaged small trees with all that the language has, 15,000 of them', () => {
  counted(15_000, () => {
    fc.assert(
      fc.property(damagedSnippet, manner, (damaged, how) => {
        const [kconfig, config] = snippetTexts(damaged, how.release);
        surviveTree(survey, { Kconfig: kconfig }, how, config);
      }),
      { numRuns: 15_000 },
    );
  });
});

test('words without sense and bytes, 20,000 of them', () => {
  counted(20_000, () => {
    fc.assert(
      fc.property(wordSoup, garbage, manner, fc.boolean(), (soup, bytes, how, turned) => {
        const files = turned ? { Kconfig: bytes, other: soup } : { Kconfig: soup, other: bytes };
        surviveTree(survey, files, how, turned ? soup : bytes);
      }),
      { numRuns: 20_000 },
    );
  });
});

test('repetitions, deep nesting and circles', () => {
  counted(20 * repetitions.length, () => {
    for (const index of repetitions.keys()) {
      fc.assert(
        fc.property(fc.oneof(fc.nat(500), fc.nat(6000)), manner, (count, how) => {
          surviveTree(survey, repeatedFiles(index, count), how, '');
        }),
        { numRuns: 20 },
      );
    }
  });
});

const long = 10_000_000;

test.for<[string, string, string]>([
  ['a name', `config ${'A'.repeat(long)}\n\tbool "a"\n`, ''],
  ['a text', `config A\n\tbool "${'a'.repeat(long)}"\n`, ''],
  ['a text without end', `config A\n\tbool "${'a'.repeat(long)}`, ''],
  ['a comment', `#${' '.repeat(long)}\nconfig A\n\tbool "a"\n`, ''],
  ['a help text', `config A\n\tbool "a"\n\thelp\n\t  ${'a'.repeat(long)}\n`, ''],
  ['blanks', `config A\n\tbool${' '.repeat(long)}"a"\n`, ''],
  ['a variable', `X := ${'a'.repeat(long)}\nconfig A\n\tstring "$(X)"\n`, ''],
  ['a command', `X := $(shell,${'a'.repeat(long)})\nconfig A\n\tbool "a"\n`, ''],
  ['a macro without end', `X := $(${'a'.repeat(long)}\n`, ''],
  ['characters that mean nothing', '@'.repeat(long), ''],
  ['zero bytes', '\0'.repeat(long), ''],
  ['a value', 'config A\n\tstring "a"\n', `CONFIG_A="${'a'.repeat(long)}"\n`],
  [
    'a value with quotes in it',
    'config A\n\tstring "a"\n',
    `CONFIG_A="${'\\"'.padStart(1000, 'a').repeat(long / 1000)}"\n`,
  ],
  ['a key file', 'config A\n\tbool "a"\n', `CONFIG_MODULE_SIG_KEY="${'a'.repeat(long)}"\n`],
  ['a number', 'config A\n\tint "a"\n\trange 0 9\n', `CONFIG_A=${'9'.repeat(long)}\n`],
  ['an option', 'config A\n\tbool "a"\n', `CONFIG_${'A'.repeat(long)}=y\n`],
  ['an option that is not set', 'config A\n\tbool "a"\n', `# CONFIG_${'A'.repeat(long)} is not set\n`],
  ['a line of nothing', 'config A\n\tbool "a"\n', 'A'.repeat(long)],
])('a line of ten megabytes: %s', ([, kconfig, config]) => {
  counted(1, () => surviveTree(survey, { Kconfig: kconfig }, plain, config));
});

test('a program instead of a Kconfig file, of a file that is sourced, and of a configuration', () => {
  const program = readFileSync(process.execPath).subarray(0, long).toString('latin1');
  counted(3, () => {
    surviveTree(survey, { Kconfig: program }, plain, '');
    surviveTree(survey, { Kconfig: 'source "other"\n', other: program }, plain, '');
    surviveTree(survey, { Kconfig: 'config A\n\tbool "a"\n' }, plain, program);
  });
});
