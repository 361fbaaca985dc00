/**
 * What a configuration can begin with beside a target and a file, and the tree's own fragments. Referees: Debian's package
 * linux-config-6.1, unpacked by dpkg-deb and xz; the kernel's scripts/kconfig/merge_config.sh and its conf.
 */
import { execFileSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { release as runningRelease } from 'node:os';
import { basename, join } from 'node:path';
import { gzipSync } from 'node:zlib';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { check } from '../../src/commands/check.ts';
import { configureTree } from '../../src/commands/configure-tree.ts';
import { keepBase, takenBase, withBase } from '../../src/commands/given-base.ts';
import { openSpec } from '../../src/commands/open-spec.ts';
import { collectRequests } from '../../src/commands/requests.ts';
import { readSpecFiles } from '../../src/commands/spec-files.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import { toJson, type DiagnosticJson } from '../../src/diagnostics/to-json.ts';
import { digestFile } from '../../src/host/digest-file.ts';
import { readTree } from '../../src/kconfig/tree-questions.ts';
import { pinDebianConfig } from '../../src/source/debian-config.ts';
import { treeOnDisk } from '../../src/source/tree-on-disk.ts';
import { isPackaged, type PackagedConfigPin } from '../../src/spec/lock.ts';
import { makeWorld, type World } from '../container/world.ts';
import { release } from '../environment/packages.ts';
import { inputs } from '../kit/fixture.ts';
import { fetchPackage, orSkip } from '../oracle/apt-root.ts';
import { debianConfigs } from '../oracle/debian-configs.ts';
import { kconfigProgram } from '../oracle/kconfig-program.ts';
import { kernelTree } from '../oracle/kernel-trees.ts';
import { recordedAnswers } from '../oracle/recorded-answers.ts';
import { gaugeTree, layFiles } from './gauge-tree.ts';

let world: World;
beforeEach(() => {
  world = makeWorld();
});
afterEach(() => world.remove());

function specText(base: string, fragments: string): string {
  return `quern: 1
name: gauge-station
kernel: { version: '6.1', source: { tree: linux } }
arch: x86_64
config:
  base: ${base}
  fragments: ${fragments}
environment: { debian: bookworm }
build: { epoch: 2026-01-01T00:00:00Z }
`;
}

const failure = async (work: Promise<unknown>): Promise<Failure> => {
  const error: unknown = await work.catch((caught: unknown) => caught);
  if (error instanceof Failure) return error;
  throw new Error(`no Failure: ${String(error)}`);
};

describe('fragments of the tree', () => {
  const options = { spec: 'gauge.yaml', probeHost: true } as const;
  const checked = async (): Promise<{ exit: number; said: readonly DiagnosticJson[] }> => {
    const { exit, diagnostics, sources } = await check(options, world.host);
    return { exit, said: toJson(diagnostics, sources ?? new Map()) };
  };
  beforeEach(() => {
    layFiles(join(world.folder, 'linux'), {
      ...gaugeTree,
      'kernel/configs/pier.config': '# of the tree\nCONFIG_SONAR=y\nCONFIG_LEVEL=3\n',
      'arch/x86/configs/pier.config': 'CONFIG_TOWER=y\nCONFIG_LEVEL=4\nCONFIG_BUOYS=one,two\n',
    });
    // a file beside the spec may be called as one of the tree
    layFiles(world.folder, { 'pier.config': 'CONFIG_LEVEL=7\n' });
  });

  it('are laid over the base in their order, the general one first; both origins are told, and which counts', async () => {
    layFiles(world.folder, { 'gauge.yaml': specText('defconfig', '[{ tree: pier.config }, pier.config]') });
    const { exit, said } = await checked();
    expect(said.find(({ code }) => code === 'kconfig/overridden')).toMatchObject({
      message:
        'LEVEL is asked for more than once: `3` (tree:kernel/configs/pier.config:3), then `4` (tree:arch/x86/configs/pier.config:2), then `7` (pier.config:1)',
      notes: ['the last one counts'],
    });
    // what they ask for of other architectures keeps nobody from building
    expect(said.find(({ code }) => code === 'command/tree-request-not-kept')).toMatchObject({
      severity: 'warning',
      message: 'unknown TOWER y → n',
      file: 'gauge.yaml',
      line: 7,
    });
    expect(said.find(({ code }) => code === 'command/tree-fragment-line')?.message).toContain('line 3');
    expect(exit).toBe(0);
  });

  it('count when they come last', async () => {
    layFiles(world.folder, { 'gauge.yaml': specText('defconfig', '[pier.config, { tree: pier.config }]') });
    const { value } = await check(options, world.host);
    expect(value.verdicts.filter(({ option }) => option === 'LEVEL')).toMatchObject([{ value: '4' }]);
  });

  it('that the tree does not have are refused where the spec names them, before anything is asked', async () => {
    layFiles(world.folder, { 'gauge.yaml': specText('defconfig', '[{ tree: peir.config }]') });
    const { diagnostics, sources } = await failure(check(options, world.host));
    expect(toJson(diagnostics, sources)).toMatchObject([
      { code: 'command/no-fragment', line: 7, help: 'Did you mean `pier.config`?' },
    ]);
  });

  it('with a line that asks for nothing are an error when they lie beside the spec, before the source is looked at', async () => {
    rmSync(join(world.folder, 'linux'), { recursive: true });
    layFiles(world.folder, {
      'pier.config': 'CONFIG_LEVEL=one,two\n',
      'gauge.yaml': specText('defconfig', '[pier.config]'),
    });
    const { diagnostics } = await failure(
      openSpec(world.host, 'gauge.yaml').then((one) => readSpecFiles(world.host, one)),
    );
    expect(diagnostics).toMatchObject([{ code: 'kconfig/fragment-line', exit: 2 }]);
  });
});

it('a base that the tree does not have is refused where the spec names it', async () => {
  layFiles(join(world.folder, 'linux'), gaugeTree);
  layFiles(world.folder, { 'gauge.yaml': specText('otter_defconfig', '[]') });
  const { diagnostics, sources } = await failure(check({ spec: 'gauge.yaml', probeHost: true }, world.host));
  expect(toJson(diagnostics, sources)).toMatchObject([
    {
      code: 'command/no-base',
      file: 'gauge.yaml',
      line: 6,
      message: expect.stringContaining('otter_defconfig'),
    },
  ]);
});

describe('the running machine', () => {
  const own = '#\n# Linux/x86 6.1.192 Kernel Configuration\n#\nCONFIG_X86=y\nCONFIG_PIER=y\n';
  const open = async (): Promise<Awaited<ReturnType<typeof openSpec>>> => {
    layFiles(world.folder, { 'gauge.yaml': specText('{ running: kept/station.config }', '[]') });
    mkdirSync(join(world.folder, 'kept'), { recursive: true });
    return openSpec(world.host, 'gauge.yaml');
  };
  const machine = (text: string): string => {
    const root = mkdtempSync(join(world.folder, 'machine-'));
    layFiles(root, { 'proc/none': '' });
    writeFileSync(join(root, 'proc/config.gz'), gzipSync(text));
    return root;
  };

  it('is kept beside the spec, byte for byte, and another machine takes what was kept', async () => {
    const opened = await open();
    const taken = await readSpecFiles(world.host, opened, machine(own));
    expect(takenBase(taken)).toMatchObject([
      {
        code: 'command/running-config',
        severity: 'note',
        message: expect.stringContaining(runningRelease()),
      },
    ]);
    expect(await keepBase(world.host, opened, taken, undefined)).toMatchObject([
      { help: expect.stringContaining('kept/station.config') },
    ]);
    expect(readFileSync(join(world.folder, 'kept/station.config'), 'latin1')).toBe(own);
    const elsewhere = await readSpecFiles(
      world.host,
      opened,
      machine('CONFIG_X86=y\n# CONFIG_PIER is not set\n'),
    );
    expect(elsewhere.base?.sha256).toBe(taken.base?.sha256);
    expect(elsewhere.base?.sha256).toBe(await digestFile(join(world.folder, 'kept/station.config')));
    expect(takenBase(elsewhere)).toEqual([]);
  });

  it('does not take the place of the one that a lock has', async () => {
    const opened = await open();
    const taken = await readSpecFiles(world.host, opened, machine(own));
    const base = { path: 'kept/station.config', sha256: 'a'.repeat(64) };
    const { diagnostics } = await failure(keepBase(world.host, opened, taken, { ...inputs, base }));
    expect(diagnostics).toMatchObject([{ code: 'command/file-changed', exit: 4 }]);
    const same = { ...base, sha256: taken.base?.sha256 ?? '' };
    expect(await keepBase(world.host, opened, taken, { ...inputs, base: same })).toHaveLength(1);
  });

  it('that does not tell how its kernel is configured is an error where the spec asks', async () => {
    const opened = await open();
    const { diagnostics, sources } = await failure(
      readSpecFiles(world.host, opened, join(world.folder, 'nothing')),
    );
    expect(toJson(diagnostics, sources)).toMatchObject([{ code: 'command/no-running-config', line: 6 }]);
  });
});

/** Debian's package, in the store of this test as if it had been fetched, and its pin. */
async function pinned(config: string): Promise<PackagedConfigPin> {
  const deb = await fetchPackage('linux-config-6.1', { release: 'bookworm' });
  const sha256 = await digestFile(deb);
  await world.host.store.add([readFileSync(deb)]);
  const [, version = ''] = /_(.+)_amd64\.deb$/.exec(basename(deb)) ?? [];
  const { candidates, ...index } = release(`linux-config-6.1 ${version}`);
  const real = [...candidates].map(
    ([name, one]) => [name, { ...one, sha256, size: statSync(deb).size }] as const,
  );
  const archive = {
    origins: { debian: { url: 'http://127.0.0.1:9/debian' } },
    index: { ...index, candidates: new Map(real) },
  };
  return pinDebianConfig(world.host, archive, { package: 'linux-config-6.1', config });
}
const origins = { debian: { url: 'http://127.0.0.1:9/debian' } };

describe("Debian's configurations", { timeout: 300_000 }, () => {
  it.for(['amd64_none_amd64', 'amd64_none_cloud-amd64'])(
    '%s is what the package has',
    async (name, context) => {
      const [pin, there] = await orSkip(context, Promise.all([pinned(name), debianConfigs('x86_64')]));
      const expected = there.find((one) => one.name === name)?.text;
      layFiles(world.folder, {
        'gauge.yaml': specText(`{ debian: linux-config-6.1, config: ${name} }`, '[]'),
      });
      const opened = await openSpec(world.host, 'gauge.yaml');
      const files = await readSpecFiles(world.host, opened);
      expect(files.base).toBeUndefined();
      const { base } = await withBase(world.host, opened, files, { origins, base: pin });
      expect(Buffer.from(base?.content ?? []).toString('latin1')).toBe(expected);
      expect(base).toMatchObject({ sha256: pin.content, name: `linux-config-6.1/config.${name}` });
      const altered = { ...pin, content: '0'.repeat(64) };
      const { diagnostics } = await failure(withBase(world.host, opened, files, { origins, base: altered }));
      expect(diagnostics).toMatchObject([{ code: 'source/altered', exit: 4 }]);
    },
  );

  it('that the package does not have are named, with those that it has', async (context) => {
    const error = await orSkip(
      context,
      pinned('amd64_none_amd46').catch((reason: unknown) => reason),
    );
    const [first] = error instanceof Failure ? error.diagnostics : [];
    expect(first).toMatchObject({
      code: 'source/no-debian-config',
      exit: 2,
      help: 'Did you mean `amd64_none_amd64`?',
    });
    expect(first?.notes.join('')).toContain('amd64_none_cloud-amd64');
  });

  it('come to what the kernel makes of them with fragments of the tree', async (context) => {
    const program = await orSkip(
      context,
      kernelTree('6.1').then((tree) => kconfigProgram(tree, 'x86_64')),
    );
    const base = await orSkip(context, pinned('amd64_none_amd64'));
    const tree = program.tree.folder;
    layFiles(world.folder, {
      'otter.config': '# CONFIG_VIRTIO_NET is not set\nCONFIG_DEFAULT_HOSTNAME="otter-bank"\nCONFIG_XEN=n\n',
      'gauge.yaml': specText(
        '{ debian: linux-config-6.1, config: amd64_none_amd64 }',
        '[{ tree: kvm_guest.config }, { tree: xen.config }, otter.config]',
      ),
    });
    const opened = await openSpec(world.host, 'gauge.yaml');
    const files = await withBase(world.host, opened, await readSpecFiles(world.host, opened), {
      origins,
      base,
    });
    const disk = treeOnDisk(tree);
    const { requests } = collectRequests(opened, files, disk);
    const reading = readTree(disk, { arch: 'x86_64' }, recordedAnswers(program));
    if (reading.kind === 'asks' || !files.base) throw new Error('not whole');
    const text = Buffer.from(files.base.content).toString('latin1');
    const given = { kind: 'file', file: files.base.name, text } as const;
    const alone = configureTree({ files: disk, tree: reading, base: given, requests: [] });
    expect(alone.text).toBe((await program.run({ mode: 'olddefconfig', config: text })).config);

    writeFileSync(join(world.folder, 'debian'), files.base.content);
    const named = [
      'kernel/configs/kvm_guest.config',
      'kernel/configs/xen.config',
      'arch/x86/configs/xen.config',
    ];
    const merge = [...named.map((one) => join(tree, one)), join(world.folder, 'otter.config')];
    execFileSync(join(tree, 'scripts/kconfig/merge_config.sh'), ['-m', 'debian', ...merge], {
      cwd: world.folder,
      stdio: 'ignore',
    });
    const merged = readFileSync(join(world.folder, '.config'), 'latin1');
    const made = configureTree({ files: disk, tree: reading, base: given, requests });
    expect(made.text).toBe((await program.run({ mode: 'olddefconfig', config: merged })).config);
    expect(made.text).not.toBe(alone.text);
    // of two fragments the last one counts, whichever of them is the tree's
    const network = made.verdicts.find(({ option }) => option === 'VIRTIO_NET');
    expect(network).toMatchObject({
      requested: 'n',
      verdict: 'kept',
      origin: { file: 'otter.config', line: 1 },
    });
    expect(network?.overridden).toMatchObject([{ origin: { file: 'tree:kernel/configs/kvm_guest.config' } }]);
  });

  it('for another architecture or of a newer kernel are refused, or warned about', async (context) => {
    const base = await orSkip(context, pinned('amd64_none_amd64'));
    expect(isPackaged(base)).toBe(true);
    layFiles(join(world.folder, 'linux'), {
      ...gaugeTree,
      Makefile: (gaugeTree['Makefile'] ?? '')
        .replace('VERSION = 6', 'VERSION = 5')
        .replace('LEVEL = 1', 'LEVEL = 10'),
    });
    const text = specText('{ debian: linux-config-6.1, config: amd64_none_amd64 }', '[]');
    layFiles(world.folder, { 'gauge.yaml': text });
    const opened = await openSpec(world.host, 'gauge.yaml');
    const files = await withBase(world.host, opened, await readSpecFiles(world.host, opened), {
      origins,
      base,
    });
    const disk = treeOnDisk(join(world.folder, 'linux'));
    const start = {
      kind: 'file',
      file: 'debian',
      text: Buffer.from(files.base?.content ?? []).toString('latin1'),
    } as const;
    const answers = new Map([['{ true; } >/dev/null 2>&1 && echo "y" || echo "n"', 'y']]);
    const reading = readTree(disk, { arch: 'x86_64' }, answers);
    if (reading.kind === 'asks') throw new Error('not whole');
    const { diagnostics } = configureTree({ files: disk, tree: reading, base: start, requests: [] });
    expect(diagnostics.map(({ code }) => code)).toContain('kconfig/newer-config');
    const make = { ...reading.make, sourceArch: 'arm64' };
    const refused = await failure(
      (async () => configureTree({ files: disk, tree: { ...reading, make }, base: start, requests: [] }))(),
    );
    expect(refused.diagnostics).toMatchObject([{ code: 'kconfig/other-architecture' }]);
  });
});
