/** Referees: docutils on the documents of the trees, and the trees' own headers. */
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

import { describe, expect, it } from 'vitest';

import {
  minimumVersionScript,
  programTable,
  readMinimums,
  readProgramTable,
} from '../../src/environment/minimum-versions.ts';
import { toolFacts, tools } from '../../src/environment/tools.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { firstTable } from '../oracle/docutils.ts';
import { kernelSeries, kernelTree, toolchainTexts } from '../oracle/kernel-trees.ts';

describe('readProgramTable', () => {
  it.for(kernelSeries)(
    'reads that of Linux %s as docutils does',
    { timeout: 300_000 },
    async (series, context) => {
      const file = join(await orSkip(context, toolchainTexts(series)), programTable);
      const rows = await orSkip(context, firstTable(file));
      const table = readProgramTable(readFileSync(file, 'utf8'));
      // footnotes are told apart from words there: "Sphinx 1"
      const plain = (cell = ''): string => cell.replace(/ \(optional\)| ?\[?#?f?1\]?$/u, '');
      expect(rows.length).toBeGreaterThan(20);
      expect(table.map(({ program, minimum }) => [program, minimum])).toEqual(
        rows.map(([program, minimum]) => [plain(program), minimum]),
      );
      const lines = readFileSync(file, 'utf8').split('\n');
      for (const { program, line } of table) expect(lines[line - 1]).toContain(program);
    },
  );

  it.for(kernelSeries)(
    'of Linux %s names each of our tools once, or never',
    { timeout: 300_000 },
    async (series, context) => {
      const file = join(await orSkip(context, toolchainTexts(series)), programTable);
      const listed = readProgramTable(readFileSync(file, 'utf8')).map(({ program }) => program.toLowerCase());
      const missing = tools.filter((tool) => !listed.includes(toolFacts[tool].listed.toLowerCase()));
      expect(missing.sort()).toEqual(absent[series]);
      expect(new Set(listed).size).toBe(listed.length);
    },
  );
});

/** What the tables of the trees do not have yet, or no more. */
const absent = {
  '5.10': ['bash', 'bindgen', 'cpio', 'pahole', 'python', 'rustc', 'tar'],
  '6.1': ['python', 'tar'],
  '6.12': [],
  '7.3': ['cpio'],
};

describe('readMinimums', () => {
  it.for(kernelSeries)(
    'goes by the script of Linux %s where it has one',
    { timeout: 300_000 },
    async (series, context) => {
      const { folder } = await orSkip(context, kernelTree(series));
      const texts = await orSkip(context, toolchainTexts(series));
      const read = (path: string): string | undefined => {
        const found = [folder, texts].map((one) => join(one, path)).find((one) => existsSync(one));
        return found === undefined ? undefined : readFileSync(found, 'utf8');
      };
      const minimums = readMinimums(read, { ARCH: 'x86_64', SRCARCH: 'x86' });
      const scripted = read(minimumVersionScript) !== undefined;
      expect(scripted).toBe(series !== '5.10');
      for (const tool of ['gcc', 'llvm'] as const) {
        expect(minimums.get(tool)).toMatchObject({
          file: scripted ? minimumVersionScript : programTable,
          enforced: true,
        });
      }
      expect(minimums.get('flex')).toMatchObject({ version: '2.5.35', file: programTable, enforced: false });
      expect(minimums.has('cpio')).toBe(false);
    },
  );

  it(
    'says as Linux 5.10 does in its headers which compilers are refused',
    { timeout: 300_000 },
    async (context) => {
      const texts = await orSkip(context, toolchainTexts('5.10'));
      const refused = (header: string): string | undefined =>
        /^# error Sorry, your version of \w+ is too old - please use (\S+) or newer\.$/mu.exec(
          readFileSync(join(texts, 'include/linux', header), 'utf8'),
        )?.[1];
      const table = readMinimums(
        (path) => (path === programTable ? readFileSync(join(texts, path), 'utf8') : undefined),
        { ARCH: 'x86_64', SRCARCH: 'x86' },
      );
      expect(table.get('gcc')?.version).toBe(refused('compiler-gcc.h'));
      expect(table.get('llvm')?.version).toBe(refused('compiler-clang.h'));
    },
  );
});
