/** Specs for other machines than the one that the shipped answers are for: what is said, and when. */
import { readdirSync } from 'node:fs';

import { afterEach, beforeEach, expect, it } from 'vitest';

import { check } from '../../src/commands/check.ts';
import { pin } from '../../src/commands/pin.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import type { Diagnostic } from '../../src/diagnostics/diagnostic.ts';
import type { Host } from '../../src/host/host.ts';
import { makeWorld, type World } from '../container/world.ts';
import { layFiles } from './gauge-tree.ts';

const tree = {
  'linux/Makefile':
    'KERNELVERSION = 6.1.0\nSRCARCH := $(ARCH)\nCC = $(CROSS_COMPILE)gcc\nexport ARCH SRCARCH CC KERNELVERSION\n',
  'linux/arch/arm64/Kconfig': '',
  'linux/arch/loongarch/Kconfig': '',
  'linux/scripts/Kconfig.include': '',
  'linux/Kconfig': 'config TOWER\n\tdef_bool $(shell,$(CC) -mtower)\n',
};

let world: World;
let folder: string;
let host: Host;
beforeEach(() => {
  world = makeWorld();
  ({ folder, host } = world);
});
afterEach(() => world.remove());

function lay(arch: string, environment = '{ debian: bookworm }'): void {
  const spec = `quern: 1
name: weir
kernel: { version: 6.1.0, source: { tree: linux } }
arch: ${arch}
config: { base: allnoconfig }
environment: ${environment}
build: { epoch: 2026-01-01T00:00:00Z }
`;
  layFiles(folder, { ...tree, 'weir.yaml': spec });
}

const failure = async (work: Promise<unknown>): Promise<Diagnostic | undefined> => {
  const error: unknown = await work.catch((reason: unknown) => reason);
  if (!(error instanceof Failure)) throw new Error(`no failure: ${String(error)}`);
  return error.diagnostics[0];
};

it('says that no answers are shipped for the architecture, and who has them', async () => {
  lay('aarch64');
  const said = await failure(check({ spec: 'weir.yaml', probeHost: false }, host));
  expect(said).toMatchObject({ code: 'command/probe-unanswered', exit: 3 });
  expect(said?.message).toContain('they are those of gcc for x86_64');
  // asked of the compiler that would build
  expect(said?.notes.join()).toContain('aarch64-linux-gnu-gcc -mtower');
  expect(said?.help).toContain('quern pin');
});

it('says for whom the answers are that it takes for a machine that they are not for', async () => {
  lay('loongarch64');
  layFiles(folder, { 'linux/Kconfig': 'config TOWER\n\tdef_bool y\n' });
  const { diagnostics } = await check({ spec: 'weir.yaml', probeHost: false }, host);
  const assumed = diagnostics.find(({ code }) => code === 'command/answers-assumed');
  expect(assumed?.message).toContain('gcc 12 answers for x86_64');
  expect(assumed?.notes.join()).toContain('loongarch');
  // which would only refuse
  expect(assumed?.help).not.toContain('quern pin');
});

it.each([
  ['arm64', '{ debian: bookworm }', 'compiler for `arm64`'],
  ['x86_64', '{ debian: bookworm, llvm: 14 }', 'clang'],
])('sends to its own compiler for %s with %s', async (arch, environment, compiler) => {
  lay(arch, environment);
  layFiles(folder, { 'linux/Kconfig': 'config TOWER\n\tdef_bool y\n', 'linux/arch/x86_64/Kconfig': '' });
  const { diagnostics } = await check({ spec: 'weir.yaml', probeHost: false }, host);
  const assumed = diagnostics.find(({ code }) => code === 'command/answers-assumed');
  expect(assumed?.notes.join()).toContain(compiler);
  expect(assumed?.help).toContain('quern pin');
});

it('says before anything is fetched that no kernel is built for the architecture', async () => {
  lay('loongarch64');
  const said = await failure(pin({ spec: 'weir.yaml' }, host));
  expect(said).toMatchObject({ code: 'command/no-compiler', exit: 3, span: { file: 'weir.yaml' } });
  expect(said?.notes.join()).toMatch(/x86_64.*arm64.*mips/u);
  expect(readdirSync(folder)).not.toContain('weir.lock.json');
});
