/**
 * The packages that are derived from a configuration are enough, and none is there for nothing: without it the build
 * stops, since the kernel's own olddefconfig changes the configuration, or in make. Each case runs in a container whose
 * packages are those of the derived environment alone; then the one in question is taken away.
 *
 * Referee: the kernel's own Makefiles (Linux 6.1), in the step in which the program is used.
 */
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { join } from 'node:path';

import { afterAll, beforeAll, expect, it } from 'vitest';

import { askInContainer } from '../../src/commands/ask-in-container.ts';
import { readKitTemplates } from '../../src/commands/kit-templates.ts';
import { findEngine } from '../../src/container/engine.ts';
import type { OptionOn } from '../../src/environment/architectures.ts';
import { environmentNeeds, type NeedyPart } from '../../src/environment/needs.ts';
import { downloadAll } from '../../src/host/download.ts';
import type { Host } from '../../src/host/host.ts';
import { Store } from '../../src/host/store.ts';
import { readDotConfig } from '../../src/kconfig/dot-config.ts';
import { makesSigningKey } from '../../src/kconfig/key-files.ts';
import { createPack } from '../../src/kconfig/pack.ts';
import { inputFiles } from '../../src/kit/input-files.ts';
import { renderProbeKit } from '../../src/kit/probe-kit.ts';
import { readIndexes, type ArchiveIndexes } from '../../src/source/debian-archive.ts';
import { pinPackages } from '../../src/source/pin-packages.ts';
import type { Inputs } from '../../src/spec/lock.ts';
import { makeWorld, type World } from '../container/world.ts';
import { inputs as fixture, spec } from '../kit/fixture.ts';
import { wholeSource } from '../oracle/whole-source.ts';
import { needEngine, testCache } from '../setup/engine.ts';

needEngine();

/** A kernel from an unpacked tree that leaves no modules: what is there is there because of its options. */
const part: NeedyPart = {
  ...spec,
  kernel: { version: '6.1', source: { kind: 'tree', path: 'linux' } },
  patches: [],
  outputs: ['image'],
};

let world: World;
let archive: ArchiveIndexes;
let tree: string;
let image: string;
let all: readonly string[];

beforeAll(async () => {
  world = makeWorld();
  const host: Host = { ...world.host, env: process.env, store: new Store(join(testCache(), 'store')) };
  tree = await wholeSource();
  archive = await readIndexes(host, { release: 'bookworm', architecture: 'amd64' });
  const everything = environmentNeeds(part, { asked: () => true, resolved: () => true, makesKey: true });
  const inputs = inputsOf(everything.map((need) => need.package));
  all = inputs.packages.map((pin) => pin.package);
  await downloadAll(
    host,
    'packages',
    inputFiles(inputs).filter(({ kind }) => kind !== 'source'),
    {},
  );
  // asking something makes the image
  const ask = askInContainer(host, await findEngine(host), 'needs', inputs, createPack('0'.repeat(64), []));
  await ask({ commands: ['true'], variables: {} });
  image = await imageOf(inputs);
});
afterAll(() => world.remove());

function inputsOf(wanted: readonly string[]): Inputs {
  return { ...fixture, origins: archive.origins, packages: pinPackages(archive.index, wanted).value };
}

/** As run.sh calls it. */
async function imageOf(inputs: Inputs): Promise<string> {
  const kit = renderProbeKit('needs', inputs, { sha256: '0'.repeat(64), size: 1 }, await readKitTemplates());
  const digest = createHash('sha256');
  for (const name of ['Containerfile', 'environment.sh']) digest.update(kit.get(name) ?? '');
  for (const { kind, sha256, file } of inputFiles(inputs)) {
    if (kind !== 'source') digest.update(`${kind} ${sha256} ${file}\n`);
  }
  return `quern-environment:${digest.digest('hex').slice(0, 24)}`;
}

interface Ended {
  readonly status: number | null;
  readonly stdout: string;
  readonly stderr: string;
}

/** Runs a script as root in a container without network that has all packages but these. */
function contain(without: readonly string[], script: string): Ended {
  const remove =
    without.length === 0
      ? ''
      : `dpkg --purge --force-all ${without.join(' ')} >/tmp/purge.log 2>&1 || { cat /tmp/purge.log; exit 90; }\n`;
  const words = ['run', '--rm', '-i', '--network', 'none', '-v', `${tree}:/src:ro`];
  const { status, stdout, stderr } = spawnSync(
    'docker',
    [...words, '--tmpfs', '/out:exec,size=4g', image, '/bin/bash', '-eu', '-s'],
    {
      input: `export LC_ALL=C PATH=/usr/sbin:/usr/bin:/sbin:/bin\ncd /src\n${remove}${script}`,
      encoding: 'utf8',
      maxBuffer: 1 << 28,
    },
  );
  return { status, stdout, stderr: stderr.slice(-3000) };
}

const make = 'make -s O=/out -j2';

/** What a configuration with these lines over tinyconfig comes to. */
const configure = (lines: readonly string[]): string => `${make} tinyconfig >/dev/null 2>&1
cat >>/out/.config <<'END'
${lines.join('\n')}
END
${make} olddefconfig </dev/null >/dev/null 2>&1
`;

/** Compares the configuration with the one of before, as a kit does, and goes on with the step. */
const build = (config: string, target: string): string => `cat >/out/.config <<'END'
${config}END
cp /out/.config /tmp/config
${make} olddefconfig </dev/null >/dev/null
cmp /tmp/config /out/.config || exit 44
${make} ${target} </dev/null
`;

interface Case {
  /** The option that it is about, and those that this one depends on. */
  readonly options: readonly string[];
  /** Those that must be gone one by one. */
  readonly packages: readonly string[];
  /** Where the program is used. */
  readonly target: string;
}

const initramfs = ['BLK_DEV_INITRD=y', 'INITRAMFS_SOURCE="/src/usr/default_cpio_list"'];
const btf = ['NET=y', 'BPF_SYSCALL=y', 'DEBUG_KERNEL=y', 'DEBUG_INFO_DWARF4=y', 'MULTIUSER=y', 'PRINTK=y'];
const signing = ['MODULES=y', 'CRYPTO=y', 'MODULE_SIG=y', 'ASYMMETRIC_KEY_TYPE=y'];

const cases: readonly Case[] = [
  { options: [], packages: ['bc'], target: 'prepare' },
  {
    options: ['INITRAMFS_COMPRESSION_BZIP2=y', 'RD_BZIP2=y', ...initramfs],
    packages: ['bzip2'],
    target: 'usr/',
  },
  { options: ['INITRAMFS_COMPRESSION_LZ4=y', 'RD_LZ4=y', ...initramfs], packages: ['lz4'], target: 'usr/' },
  { options: ['INITRAMFS_COMPRESSION_LZO=y', 'RD_LZO=y', ...initramfs], packages: ['lzop'], target: 'usr/' },
  {
    options: ['INITRAMFS_COMPRESSION_LZMA=y', 'RD_LZMA=y', ...initramfs],
    packages: ['xz-utils'],
    target: 'usr/',
  },
  {
    options: ['INITRAMFS_COMPRESSION_XZ=y', 'RD_XZ=y', ...initramfs],
    packages: ['xz-utils'],
    target: 'usr/',
  },
  {
    options: ['INITRAMFS_COMPRESSION_ZSTD=y', 'RD_ZSTD=y', ...initramfs],
    packages: ['zstd'],
    target: 'usr/',
  },
  { options: ['UNWINDER_ORC=y', '64BIT=y'], packages: ['libelf-dev'], target: 'prepare' },
  {
    options: ['DEBUG_INFO_BTF=y', ...btf],
    packages: ['dwarves', 'libelf-dev', 'python3'],
    target: 'prepare',
  },
  {
    options: ['MODULE_SIG_FORMAT=y', ...signing, 'MODULE_SIG_KEY=""'],
    packages: ['libssl-dev'],
    target: 'scripts',
  },
  {
    options: ['MODULE_SIG_KEY="certs/signing_key.pem"', ...signing],
    packages: ['openssl'],
    target: 'certs/',
  },
  {
    options: [
      'SYSTEM_TRUSTED_KEYRING=y',
      'KEYS=y',
      'CRYPTO=y',
      'ASYMMETRIC_KEY_TYPE=y',
      'ASYMMETRIC_PUBLIC_KEY_SUBTYPE=y',
      'X509_CERTIFICATE_PARSER=y',
    ],
    packages: ['libssl-dev'],
    target: 'certs/',
  },
  { options: ['IKHEADERS=y', 'SYSFS=y'], packages: ['cpio', 'xz-utils'], target: 'kernel/kheaders.o' },
  {
    options: ['GCC_PLUGINS=y', 'GCC_PLUGIN_STACKLEAK=y'],
    packages: ['gcc-12-plugin-dev', 'g++'],
    target: 'scripts',
  },
  {
    options: ['RUST=y', '64BIT=y'],
    packages: ['rustc', 'bindgen', 'rust-src', 'libclang-dev'],
    target: 'kernelrelease',
  },
];

const onIn = (config: string): OptionOn => {
  const { get } = readDotConfig(config);
  return (option) => get(option) === 'y';
};

/** The derived packages, by name. */
function derived(asked: string, config: string): readonly string[] {
  const makesKey = makesSigningKey(config, new Set());
  const needs = environmentNeeds(part, { asked: onIn(asked), resolved: onIn(config), makesKey });
  return needs.map((need) => need.package);
}

/** What must go so that an environment of these packages is left. */
function surplus(wanted: readonly string[]): readonly string[] {
  const there = new Set(inputsOf(wanted).packages.map((pin) => pin.package));
  return all.filter((name) => !there.has(name));
}

it.for(cases.map((one) => [one.options[0] ?? 'any configuration', one] as const))(
  '%s: the derived packages are enough, and each is needed',
  ([, { options, packages, target }]) => {
    const lines = options.map((option) => `CONFIG_${option}`);
    const asked = `${lines.join('\n')}\n`;
    const first = contain(surplus(derived(asked, '')), `${configure(lines)}cat /out/.config`);
    expect(first).toMatchObject({ status: 0 });
    for (const line of lines) expect(first.stdout.split('\n')).toContain(line);

    const wanted = derived(asked, first.stdout);
    const enough = contain(surplus(wanted), build(first.stdout, target));
    expect(enough).toMatchObject({ status: 0 });

    for (const name of packages) {
      expect(wanted).toContain(name);
      const without = surplus(wanted.filter((one) => one !== name));
      expect(without).toContain(name);
      const { status } = contain(without, build(first.stdout, target));
      // 44: the configuration is another one; 2: make
      expect([name, status === 44 || status === 2]).toEqual([name, true]);
    }
  },
);
