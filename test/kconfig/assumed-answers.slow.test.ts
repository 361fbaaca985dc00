/**
 * The answers that are shipped, against the real environment: Debian bookworm with the packages that a pin of today
 * gives. `UPDATE_ASSUMED=1 npx vitest run --mode slow test/kconfig/assumed-answers.slow.test.ts` writes them anew.
 */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { format, resolveConfig } from 'prettier';
import { expect, it } from 'vitest';

import { answerTree } from '../../src/commands/answer-tree.ts';
import { askInContainer } from '../../src/commands/ask-in-container.ts';
import { openSpec } from '../../src/commands/open-spec.ts';
import { startPinning } from '../../src/commands/pin-inputs.ts';
import { environmentNeeds } from '../../src/environment/needs.ts';
import { readSpecFiles } from '../../src/commands/spec-files.ts';
import { findEngine } from '../../src/container/engine.ts';
import type { Host } from '../../src/host/host.ts';
import { downloadAll } from '../../src/host/download.ts';
import { Store } from '../../src/host/store.ts';
import { assumedEnvironment, type AssumedEnvironment } from '../../src/kconfig/assumed-answers-data.ts';
import { assumedAnswers } from '../../src/kconfig/assumed-answers.ts';
import { inputFiles } from '../../src/kit/input-files.ts';
import { packOfTree } from '../../src/source/tree-on-disk.ts';
import type { Inputs } from '../../src/spec/lock.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { kernelSeries, kernelTree } from '../oracle/kernel-trees.ts';
import { needEngine, testCache } from '../setup/engine.ts';
import { assumedAnswersModule } from './assumed-answers-module.ts';
import { makeWorld } from '../container/world.ts';

needEngine();

/** The packages whose programs answer. */
const answering = ['gcc', 'gcc-12', 'binutils', 'libc6-dev', 'dwarves', 'dash', 'coreutils', 'sed', 'mawk'];

function versionsOf(inputs: Inputs): Readonly<Record<string, string>> {
  const pins = inputs.packages.filter((pin) => answering.includes(pin.package));
  return Object.fromEntries(pins.map((pin) => [pin.package, pin.version]));
}

it('the environment says what is shipped as assumed', async (context) => {
  const world = makeWorld();
  try {
    const host: Host = { ...world.host, env: process.env, store: new Store(join(testCache(), 'store')) };
    const spec = await openSpec(host, join(import.meta.dirname, '../e2e/otter-bank/gauge-station.yaml'));
    const files = await readSpecFiles(host, spec);
    const pinning = await startPinning(
      host,
      spec,
      files,
      { source: true, base: true, image: true, packages: true, keys: true },
      undefined,
    );
    // pahole is there for whoever asks for what takes it
    const needs = environmentNeeds(spec.spec, {
      asked: (option) => option === 'DEBUG_INFO_BTF',
      resolved: () => false,
      makesKey: false,
    });
    const { inputs } = await pinning.withPackages(needs);
    const packages = inputFiles(inputs).filter(({ kind }) => kind !== 'source');
    await downloadAll(host, 'fetching packages', packages, {});
    const engine = await findEngine(host);
    const found = new Map<string, ReadonlyMap<string, string>>();
    const kernels: string[] = [];
    for (const series of kernelSeries) {
      const tree = await orSkip(context, kernelTree(series));
      const pack = await packOfTree(host, tree.folder);
      const ask = askInContainer(host, engine, 'gauge-station', inputs, pack);
      const whole = await answerTree(pack, { arch: 'x86_64' }, ask);
      expect(whole.parsed.diagnostics.filter(({ severity }) => severity === 'error')).toEqual([]);
      kernels.push(whole.make.kernelVersion);
      found.set(series, whole.answers);
    }
    const environment = {
      debian: spec.spec.environment.debian,
      arch: 'x86_64',
      kernels,
      packages: versionsOf(inputs),
    };
    if (process.env['UPDATE_ASSUMED']) await writeAnswers(environment, found);
    else compare(environment, found);
  } finally {
    world.remove();
  }
});

type Found = ReadonlyMap<string, ReadonlyMap<string, string>>;

function compare(environment: AssumedEnvironment, found: Found): void {
  const same = (a: unknown, b: unknown): boolean => JSON.stringify(a) === JSON.stringify(b);
  for (const [series, answers] of found) {
    const shipped = assumedAnswers(`${series}.1`);
    const common = [...answers].filter(([command]) => shipped.has(command));
    // what has been asked for years is asked by the next point release as well
    expect(common.length).toBeGreaterThan(answers.size * 0.8);
    if (same(environment.packages, assumedEnvironment.packages)) {
      expect(common).toEqual(common.map(([command]) => [command, shipped.get(command)]));
    }
    if (same(environment.kernels, assumedEnvironment.kernels)) {
      expect([...answers.keys()].filter((command) => !shipped.has(command))).toEqual([]);
    }
  }
}

async function writeAnswers(environment: AssumedEnvironment, found: Found): Promise<void> {
  const path = join(import.meta.dirname, '../../src/kconfig/assumed-answers-data.ts');
  const text = assumedAnswersModule(environment, found);
  writeFileSync(path, await format(text, { ...(await resolveConfig(path)), parser: 'typescript' }));
}
