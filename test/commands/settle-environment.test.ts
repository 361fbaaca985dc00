/** Packages and configuration, each of which follows from the other, on a made-up tree: nobody is asked in earnest. */
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { askedOptions } from '../../src/commands/asked-options.ts';
import { openSpec } from '../../src/commands/open-spec.ts';
import { startPinning, type Pinning } from '../../src/commands/pin-inputs.ts';
import { collectRequests } from '../../src/commands/requests.ts';
import type { Resolved } from '../../src/commands/resolve-config.ts';
import {
  missingNeeds,
  settleEnvironment,
  type ReadSpec,
  type Settled,
} from '../../src/commands/settle-environment.ts';
import { patchedPack, type PatchedPack } from '../../src/commands/source-pack.ts';
import { readSpecFiles } from '../../src/commands/spec-files.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import type { Host } from '../../src/host/host.ts';
import { makeWorld, type World } from '../container/world.ts';
import { answers, inputs as fixtureInputs, packagePin } from '../kit/fixture.ts';
import { gaugeTree, layFiles } from './gauge-tree.ts';

const spec = `quern: 1
name: weir
kernel: { version: 6.1.0, source: { tree: linux } }
arch: x86_64
config:
  base: gauge_defconfig
  set: { KERNEL_ZSTD: y, DEBUG_INFO_BTF: y, RUST: n }
environment: { debian: bookworm }
build: { epoch: 2026-01-01T00:00:00Z }
`;

let world: World;
let folder: string;
let host: Host;
let read: ReadSpec;
let pinning: Pinning;
let pack: PatchedPack;

async function lay(kconfig: string): Promise<void> {
  const tree = {
    ...gaugeTree,
    Kconfig: kconfig,
    'arch/x86/configs/gauge_defconfig': 'CONFIG_RUST=y\nCONFIG_GCC_PLUGINS=y\n',
  };
  layFiles(join(folder, 'linux'), tree);
  layFiles(folder, { 'weir.yaml': spec });
  const opened = await openSpec(host, 'weir.yaml');
  const files = await readSpecFiles(host, opened);
  read = { opened, files };
  const { source } = await startPinning(
    host,
    opened,
    files,
    { source: true, base: false, image: false, packages: false, keys: false },
    fixtureInputs,
  );
  pack = await patchedPack(host, opened, source, []);
  pinning = {
    source,
    withPackages: async (needs) => ({
      inputs: { ...fixtureInputs, packages: needs.map((need) => packagePin(need.package, '1', false)) },
      diagnostics: [],
    }),
  };
}

beforeEach(() => {
  world = makeWorld();
  ({ folder, host } = world);
});
afterEach(() => world.remove());

/** Settles it, where the configuration in an environment of some packages is this one; with the packages of each round. */
async function settle(
  configIn: (packages: readonly string[]) => string,
): Promise<{ readonly settled: Settled; readonly rounds: readonly (readonly string[])[] }> {
  const rounds: (readonly string[])[] = [];
  const settled = await settleEnvironment(host, read, pinning, undefined, async ({ inputs }) => {
    const packages = inputs.packages.map((pin) => pin.package);
    rounds.push(packages);
    return resolvedTo(configIn(packages));
  });
  return { settled, rounds };
}

function resolvedTo(text: string): Resolved {
  const config = Buffer.from(text);
  const asked = collectRequests(read.opened, read.files, pack.pack);
  const { files } = read;
  const patches = { stack: [], left: [] };
  return { answers, pack, config, verdicts: [], patches, files, asked, diagnostics: [] };
}

const known =
  'config KERNEL_ZSTD\n\tbool "zstd"\nconfig DEBUG_INFO_BTF\n\tbool "BTF"\nconfig RUST\n\tbool "Rust"\n';
const unknown = `${known}config ODD\n\tdef_bool $(shell,is-odd)\n`;
const both = 'CONFIG_KERNEL_ZSTD=y\nCONFIG_DEBUG_INFO_BTF=y\n';

describe('settleEnvironment', () => {
  it('makes one environment where the configuration could be foreseen', async () => {
    await lay(known);
    const { settled, rounds } = await settle(() => both);
    expect(rounds).toHaveLength(1);
    expect(settled.needs.map((need) => need.package)).toEqual(rounds[0]);
    expect(rounds[0]).toEqual(expect.arrayContaining(['zstd', 'dwarves', 'libelf-dev']));
    expect(settled.needs.find((need) => need.package === 'zstd')?.because).toContain('KERNEL_ZSTD');
  });

  it('goes on without an answer that is not known', async () => {
    const asks = '$(shell,{ is-odd; } >/dev/null 2>&1 && echo "y" || echo "n")';
    await lay(`${known}config ODD\n\tdef_bool ${asks}\n`);
    expect((await settle(() => both)).rounds).toHaveLength(1);
  });

  it('has what answers the tree in the first round, and what the answers led to in the next', async () => {
    await lay(unknown);
    const { settled, rounds } = await settle((packages) => (packages.includes('dwarves') ? both : ''));
    expect(rounds).toHaveLength(2);
    expect(rounds[0]).toContain('dwarves');
    expect(rounds[0]).not.toContain('zstd');
    expect(settled.needs.map((need) => need.package)).toEqual(expect.arrayContaining(['zstd', 'libelf-dev']));
  });

  it('leaves out what was foreseen in error', async () => {
    await lay(known);
    const { rounds } = await settle(() => 'CONFIG_DEBUG_INFO_BTF=y\n');
    expect(rounds.map((packages) => packages.includes('zstd'))).toEqual([true, false]);
  });

  it('gives up on what never settles', async () => {
    await lay(known);
    const error: unknown = await settle((packages) =>
      packages.includes('zstd') ? 'CONFIG_KERNEL_LZ4=y\n' : both,
    ).catch((reason: unknown) => reason);
    if (!(error instanceof Failure)) throw new Error(`no failure: ${String(error)}`);
    expect(error.diagnostics).toMatchObject([{ code: 'command/packages-unsettled', exit: 4 }]);
  });
});

describe('askedOptions', () => {
  it('knows what base and requests turn on; the last word counts', async () => {
    await lay(known);
    const requests = collectRequests(read.opened, read.files, pack.pack);
    const asked = askedOptions(read.opened.spec, read.files, requests, pack.pack);
    expect(['KERNEL_ZSTD', 'DEBUG_INFO_BTF', 'GCC_PLUGINS', 'RUST', 'PIER'].map(asked)).toEqual([
      ...[true, true, true, false, false],
    ]);
  });
});

describe('missingNeeds', () => {
  it('names what the environment of a lock lacks', async () => {
    await lay(known);
    const there = [
      'bc',
      'binutils',
      'bison',
      'dwarves',
      'flex',
      'g++',
      'gcc',
      'gcc-12-plugin-dev',
      'libc6-dev',
    ];
    const packages = [...there, 'make', 'zstd'].map((name) => packagePin(name, '1', false));
    const missing = missingNeeds(read.opened.spec, resolvedTo(both), { packages });
    expect(missing.map((need) => need.package)).toEqual(['libelf-dev', 'python3']);
  });
});
