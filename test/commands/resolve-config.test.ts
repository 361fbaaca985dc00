/** What follows from a lock is compared with what it says, on a made-up tree of a few files. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';

import { afterEach, beforeEach, expect, it } from 'vitest';

import { openSpec } from '../../src/commands/open-spec.ts';
import { startPinning } from '../../src/commands/pin-inputs.ts';
import { resolveConfig, type Pinned, type Resolved } from '../../src/commands/resolve-config.ts';
import { patchedPack } from '../../src/commands/source-pack.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import type { Answers } from '../../src/spec/lock.ts';
import { makeWorld, type World } from '../container/world.ts';
import { answers as fixtureAnswers, inputs as fixtureInputs } from '../kit/fixture.ts';

const tree: Readonly<Record<string, string>> = {
  Makefile: `VERSION = 6
PATCHLEVEL = 1
SUBLEVEL = 0
EXTRAVERSION =
KERNELVERSION = $(VERSION).$(PATCHLEVEL).$(SUBLEVEL)
SRCARCH := x86
export KERNELVERSION ARCH SRCARCH
`,
  'scripts/Kconfig.include': '',
  Kconfig: `mainmenu "Otter Bank $(KERNELVERSION)"
config HAS_TRUE
	def_bool $(shell,true && echo y)
`,
  'arch/x86/configs/gauge_defconfig': '',
};

const text = `quern: 1
name: gauge-station
kernel: { version: '6.1', source: { tree: linux } }
arch: x86_64
config: { base: gauge_defconfig }
environment: { debian: bookworm }
build: { epoch: 2026-01-01T00:00:00Z }
outputs: [image]
`;

let world: World;
beforeEach(() => {
  world = makeWorld();
  for (const [path, content] of Object.entries(tree)) {
    mkdirSync(dirname(join(world.folder, 'linux', path)), { recursive: true });
    writeFileSync(join(world.folder, 'linux', path), content);
  }
  writeFileSync(join(world.folder, 'gauge.yaml'), text);
});
afterEach(() => world.remove());

async function resolver(): Promise<(pinned: Omit<Pinned, 'inputs'>) => Promise<Resolved>> {
  const opened = await openSpec(world.host, 'gauge.yaml');
  const files = { fragments: [], patches: [] };
  const stale = { source: true, base: false, image: false, packages: false, keys: false };
  const pinning = await startPinning(world.host, opened, files, stale, fixtureInputs);
  const { inputs } = await pinning.withPackages([]);
  const { sha256 } = await patchedPack(world.host, opened, inputs, []);
  const known = { ...fixtureAnswers, probes: { 'true && echo y': 'y' }, pack: sha256 };
  return (pinned) => resolveConfig(world.host, opened, files, { inputs, known, ...pinned });
}

it('takes a lock that says what follows from it', async () => {
  const resolve = await resolver();
  const { answers } = await resolve({});
  expect(answers.probes).toEqual({ 'true && echo y': 'y' });
  expect((await resolve({ answers, known: undefined })).answers).toEqual(answers);
});

// What a lock has as a probe, a kit runs in the tree before it compiles that: only what the tree asks may stand there.
it.each<[string, (answers: Answers) => Partial<Answers>, RegExp]>([
  [
    'a command that the tree does not ask',
    ({ probes }) => ({ probes: { ...probes, 'sed -i s/gauge/gouge/ Makefile': '' } }),
    /^probes: of `sed -i s\/gauge\/gouge\/ Makefile` the lock has "", and it comes to nothing\.$/u,
  ],
  [
    'another variable for the commands',
    ({ variables }) => ({ variables: { ...variables, PATH: '/build/kit' } }),
    /^variables: of `PATH` the lock has "\/build\/kit", and it comes to nothing\.$/u,
  ],
  [
    'a variable less',
    ({ variables }) => ({ variables: Object.fromEntries(Object.entries(variables).slice(1)) }),
    /^variables: of `\w+` the lock has nothing, and it comes to ".*"\.$/u,
  ],
  ['another release', () => ({ kernelRelease: '6.1.0-x' }), /^kernelRelease: the lock has "6\.1\.0-x"/u],
])('refuses a lock with %s', async (_, change, note) => {
  const resolve = await resolver();
  const { answers } = await resolve({});
  const altered = { ...answers, ...change(answers) };
  const error: unknown = await resolve({ answers: altered, known: undefined }).catch(
    (caught: unknown) => caught,
  );
  if (!(error instanceof Failure)) throw new Error(`no Failure: ${String(error)}`);
  const [diagnostic] = error.diagnostics;
  expect(diagnostic).toMatchObject({ code: 'command/answers-changed', exit: 4 });
  expect(diagnostic?.notes[0]).toMatch(note);
});
