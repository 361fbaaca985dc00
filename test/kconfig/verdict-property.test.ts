/** Referee: the kernel's own program of each generation, on random Kconfig files with random requests. */
import fc from 'fast-check';
import { afterAll, describe, expect, test } from 'vitest';

import { compose } from '../../src/kconfig/compose.ts';
import { configure } from '../../src/kconfig/configure.ts';
import { readDotConfig } from '../../src/kconfig/dot-config.ts';
import { explainOption } from '../../src/kconfig/explain-option.ts';
import { explanationText } from '../../src/kconfig/explanation-text.ts';
import { judgeRequests } from '../../src/kconfig/verdict.ts';
import { parseTree } from '../../src/kconfig/parse-tree.ts';
import { dialects } from '../../src/kconfig/dialect.ts';
import type { Model } from '../../src/kconfig/model.ts';
import type { SymbolType } from '../../src/kconfig/rules.ts';
import { kernelSeries, type KernelSeries } from '../oracle/kernel-trees.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { generations, snippetReferee } from '../oracle/kconfig-snippets.ts';
import { printKconfig, randomKconfig } from '../oracle/random-kconfig.ts';
import { checkVerdict } from './check-verdict.ts';
import { asked } from './judge-small.ts';

const referee = snippetReferee();
afterAll(() => referee.close());

const values = [
  'y',
  'y',
  'y',
  'm',
  'm',
  'n',
  'n',
  '5',
  '-1',
  '07',
  '0x10',
  '1f',
  '"otter"',
  '""',
  '"',
  'yes',
  '"a\\"b"',
  '',
];
const names = ['MODULES', 'CONFIG_S1', 's2', 'OTTER', 'S', '__proto__'];
const request = fc.record({
  symbol: fc.nat(10_000),
  value: fc.constantFrom(...values),
  fitting: fc.nat(100),
});

function fittingValue(type: SymbolType | undefined, random: number): string {
  const fitting = {
    bool: ['y', 'n'],
    tristate: ['y', 'm', 'n'],
    int: ['5', '40', '-1'],
    hex: ['0x10', '1f'],
    string: ['"otter"', '""'],
    unknown: ['y'],
  }[type ?? 'unknown'];
  return fitting[random % fitting.length] ?? 'y';
}

/** Judges random requests; `kernel` gives the `.config` that they are held against. */
async function runOn(
  series: KernelSeries,
  runs: number,
  kernel: (model: Model, kconfig: string, config: string) => Promise<string | undefined>,
): Promise<ReadonlyMap<string, number>> {
  const seen = new Map<string, number>();
  const lists = fc.array(request, { minLength: 1, maxLength: 12 });
  await fc.assert(
    fc.asyncProperty(randomKconfig, lists, async (random, list) => {
      const text = printKconfig(random, series);
      const model = parsed(text, series);
      if (!model) return;
      const defined = [...model.byName.values()]
        .filter(({ type }) => type !== 'unknown')
        .map(({ name }) => name);
      // Mostly options that there are.
      const pool = [...defined, ...defined, ...defined, ...names];
      const texts = list.map(({ symbol, value, fitting }) => {
        const name = pool[symbol % pool.length] ?? '';
        return `${name}=${fitting % 5 === 0 ? value : fittingValue(model.byName.get(name)?.type, fitting)}`;
      });
      const requests = asked(...texts);
      const composed = compose({ file: 'base', text: '' }, requests);
      const { evaluation } = configure(model, 'olddefconfig', composed.text);
      const config = await kernel(model, text, composed.text);
      if (config === undefined) return;
      const entries = readDotConfig(config);
      const input = { evaluation, requests, originOf: composed.originOf };
      for (const verdict of judgeRequests(input)) {
        checkVerdict(evaluation, verdict, entries.get(verdict.option));
        const kind = verdict.verdict === 'unknown' ? 'unknown-name' : verdict.reason.kind;
        seen.set(kind, (seen.get(kind) ?? 0) + 1);
        const explained = explanationText(explainOption(input, verdict.option));
        expect(explained.startsWith(`${verdict.verdict} `), explained).toBe(true);
      }
    }),
    { numRuns: runs, seed: 4, endOnFailure: true },
  );
  return seen;
}

function parsed(text: string, series: KernelSeries): Model | undefined {
  return parseTree({
    files: { read: (name) => (name === 'Kconfig' ? text : undefined) },
    probes: { answer: () => '' },
    environment: {},
    dialect: dialects[series],
  }).model;
}

describe.each(kernelSeries)('rules of %s', (series) => {
  test('verdicts and their terms are true of what our engine makes', { timeout: 300_000 }, async () => {
    const own = (model: Model, _: string, config: string): Promise<string> =>
      Promise.resolve(configure(model, 'olddefconfig', config).text);
    const seen = await runOn(series, 400, own);
    for (const kind of ['as-asked', 'dependency', 'no-prompt', 'wrong-type', 'unknown-name']) {
      expect(seen.get(kind) ?? 0, kind).toBeGreaterThan(0);
    }
    expect(seen.get('not-taken')).toBeUndefined();
  });
});

describe.each(['6.1', '6.12'] as const)('rules of %s', (series) => {
  test("verdicts are true of what the kernel's own program makes", { timeout: 300_000 }, async (context) => {
    const [generation] = await orSkip(context, generations([series]));
    if (!generation) throw new Error('there is no such generation');
    let compared = 0;
    await runOn(series, 40, async (_, text, config) => {
      const result = await referee.ask(generation, { Kconfig: text }, { mode: 'olddefconfig', config });
      if (result.status !== 0) return undefined;
      compared += 1;
      return result.config;
    });
    expect(compared).toBeGreaterThan(20);
  });
});
