/**
 * A folder with a made-up kernel tree of a few files, two specs and a whole lock, so that no engine is needed:
 * `gauge.yaml` gets all that it asks for; to what `wrong.yaml` asks for, every kind of reason says no.
 */
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';

import { main } from '../../src/cli/main.ts';
import { commands } from '../../src/commands/commands.ts';
import { openSpec } from '../../src/commands/open-spec.ts';
import { resolveConfig } from '../../src/commands/resolve-config.ts';
import { patchedPack } from '../../src/commands/source-pack.ts';
import { readSpecFiles } from '../../src/commands/spec-files.ts';
import { environmentNeeds } from '../../src/environment/needs.ts';
import type { Host } from '../../src/host/host.ts';
import { Store } from '../../src/host/store.ts';
import { storeTree } from '../../src/source/tree-archive.ts';
import type { SourcePin } from '../../src/spec/lock.ts';
import { formatLock } from '../../src/spec/write-lock.ts';
import { answers, inputs, packagePin } from '../kit/fixture.ts';

/** Every option of the tree. */
export const options: readonly string[] = [
  ...['MODULES', 'PIER', 'SONAR', 'ECHO', 'CHART', 'LOGGER', 'DEPTH', 'LEVEL', 'STATION', 'MAINS', 'BATTERY'],
  ...['EBB', 'FLOW', 'ICE', 'OLD_PIER'],
];

/** Path to text. */
export const tree: Readonly<Record<string, string>> = {
  Makefile: `VERSION = 6
PATCHLEVEL = 1
SUBLEVEL = 0
EXTRAVERSION =
KERNELVERSION = $(VERSION).$(PATCHLEVEL).$(SUBLEVEL)
SRCARCH := x86
KBUILD_DEFCONFIG := gauge_defconfig
export KERNELVERSION ARCH SRCARCH
`,
  'arch/x86/configs/gauge_defconfig': 'CONFIG_PIER=y\n',
  'arch/x86/Kconfig': '',
  'arch/arm64/Kconfig': 'config TOWER\n\tbool "Tower"\n',
  'scripts/Kconfig.include': 'icy = $(shell,is-icy $(1) 2>/dev/null || echo n)\n',
  Kconfig: `mainmenu "Otter Bank $(KERNELVERSION)"
source "scripts/Kconfig.include"

config MODULES
	bool "Modules"
	modules

config PIER
	bool "Pier"
	default OLD_PIER

menu "On the pier"
	depends on PIER
	visible if !ICE

config SONAR
	tristate "Sonar of the gauge"
	select ECHO
	imply CHART

endmenu

config ECHO
	tristate

config CHART
	bool "Chart" if SONAR

config LOGGER
	tristate "Logger"
	depends on MODULES

config DEPTH
	int
	default 9

config LEVEL
	int "Level" if PIER || CHART
	range 1 DEPTH
	default 5

config STATION
	string "Station"
	default "otter-bank" if PIER

choice
	prompt "Power"

config MAINS
	bool "Mains"

config BATTERY
	bool "Battery"

endchoice

choice
	prompt "Tide"

config EBB
	bool "Ebb"

config FLOW
	bool "Flow"
	depends on ICE

endchoice

config ICE
	bool "Ice"
	depends on $(icy,river)

config OLD_PIER
	bool
	transitional
`,
};

const files: Readonly<Record<string, string>> = {
  'gauge.config': 'CONFIG_LEVEL=7\n',
  'gauge.yaml': specText('gauge.config', 'MODULES: y, SONAR: m, STATION: otter-bank'),
  'wrong.config': '# CONFIG_MODULES is not set\n',
  'wrong.yaml': specText(
    'wrong.config',
    `SONAR: m, ECHO: n, LOGGER: y, DEPTH: 4, LEVEL: 12, STATION: 5, MAINS: y, BATTERY: y, EBB: n, FLOW: y, ICE: y,
      OLD_PIER: y, TOWER: y, PEIR: y, ACENIC: y, OTTERS_WEAR_HATS: y`,
  ),
};

function specText(fragment: string, set: string): string {
  return `quern: 1
name: gauge-station
kernel:
  version: '6.1'
  source: { tree: linux }
arch: x86_64
config:
  base: defconfig
  fragments: [${fragment}]
  set: { ${set} }
environment: { debian: bookworm }
build: { user: gauge, host: otter-bank, epoch: 2026-01-01T00:00:00Z }
outputs: [image, modules]
`;
}

export interface PinnedTree {
  readonly folder: string;
  /**
   * What `quern` prints on standard output when it is called in the folder.
   *
   * @param store the folder of another store than that in which everything is
   */
  quern(words: string, store?: string): Promise<string>;
  remove(): void;
}

export async function makePinnedTree(): Promise<PinnedTree> {
  const folder = mkdtempSync('/tmp/quern-json-');
  for (const [path, text] of Object.entries(files)) write(join(folder, path), text);
  for (const [path, text] of Object.entries(tree)) write(join(folder, 'linux', path), text);
  const nothing = (): void => undefined;
  const host: Host = {
    cwd: folder,
    env: { PATH: process.env['PATH'] },
    now: () => new Date(),
    signal: new AbortController().signal,
    progress: { stage: nothing, advance: nothing, line: nothing, end: nothing },
    store: new Store(join(folder, 'store')),
  };
  const { sha256, size } = await storeTree(host, join(folder, 'linux'), { epoch: 1767225600 });
  write(
    join(folder, 'gauge.lock.json'),
    await wholeLock(host, 'gauge.yaml', { kind: 'tree', path: 'linux', sha256, size }),
  );
  return {
    folder,
    quern: async (words, store) => {
      let printed = '';
      const stdout = { write: (text: string) => (printed += text) };
      const io = { stdout, stderr: { write: nothing, isTTY: false } };
      const used = store === undefined ? host : { ...host, store: new Store(store) };
      await main(words.split(' '), { ...io, host: used }, commands);
      return printed;
    },
    remove: () => rmSync(folder, { recursive: true, force: true }),
  };
}

function write(path: string, text: string): void {
  mkdirSync(dirname(path), { recursive: true });
  writeFileSync(path, text);
}

/**
 * The text of a whole lock of a spec whose source is in the store. What the environment would have said is made up; its
 * packages are those of a kit, whose content is their name, since nobody unpacks them here.
 */
export async function wholeLock(host: Host, spec: string, source: SourcePin): Promise<string> {
  const opened = await openSpec(host, spec);
  const local = await readSpecFiles(host, opened);
  const needs = environmentNeeds(opened.spec, {
    asked: () => false,
    resolved: () => true,
    makesKey: false,
  });
  const pinned = {
    ...inputs,
    source,
    ...(local.base && { base: { path: local.base.path, sha256: local.base.sha256 } }),
    fragments: local.fragments.map((one) => ({ path: one.path, sha256: one.sha256 })),
    patches: local.patches.map((one) => ({ path: one.path, sha256: one.sha256 })),
    packages: [
      ...inputs.packages.filter(({ essential }) => essential),
      ...needs.map((need) => packagePin(need.package, '1', false)),
    ],
  };
  for (const pin of pinned.packages) await host.store.add([Buffer.from(pin.package)]);
  const pack = await patchedPack(host, opened, pinned, local.patches);
  const known = {
    toolchain: answers.toolchain,
    probes: { 'is-icy river 2>/dev/null || echo n': 'n' },
    pack: pack.sha256,
  };
  const resolved = await resolveConfig(host, opened, local, { inputs: pinned, known });
  return formatLock({ lock: 1, spec: opened.spec, inputs: pinned, answers: resolved.answers });
}
