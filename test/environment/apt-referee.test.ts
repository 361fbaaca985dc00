/**
 * `apt-get -s install --no-install-recommends` into an empty system is the referee of `resolveClosure`: the same set of
 * name and version, on the indexes that apt itself has fetched and verified.
 */
import { execFile } from 'node:child_process';
import { createReadStream } from 'node:fs';
import { mkdir, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { promisify } from 'node:util';

import fc from 'fast-check';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';

import { resolveAdditions } from '../../src/environment/additions.ts';
import { resolveClosure } from '../../src/environment/closure.ts';
import { readInstalled } from '../../src/environment/installed.ts';
import { environmentNeeds } from '../../src/environment/needs.ts';
import { mergePackages, type PackageIndex } from '../../src/environment/package-index.ts';
import { packagesReader, type PackageRecord } from '../../src/environment/package-record.ts';
import { debianReleases, type DebianRelease } from '../../src/spec/spec.ts';
import { aptRoot, orSkip, simulateInstall, type AptRoot } from '../oracle/apt-root.ts';
import { packagesText, release as releaseOf } from './packages.ts';
import { spec } from '../kit/fixture.ts';

async function readFiles(files: readonly string[]): Promise<PackageIndex> {
  const lists: (readonly PackageRecord[])[] = [];
  for (const file of files) {
    const reader = packagesReader('debian');
    for await (const chunk of createReadStream(file) as AsyncIterable<Buffer>) reader.feed(chunk);
    const { records, problems } = reader.end();
    expect(problems).toEqual([]);
    lists.push(records);
  }
  return mergePackages('amd64', lists);
}

/** Sorted `name=version` by us and by apt. */
async function compare(index: PackageIndex, root: AptRoot, wanted: readonly string[]): Promise<void> {
  const { value, diagnostics } = resolveClosure(index, wanted);
  expect(diagnostics).toEqual([]);
  const essential = [...index.candidates.values()].filter((one) => one.essential).map((one) => one.package);
  const ours = value.map(({ record }) => `${record.package}=${record.version}`).sort();
  expect(ours).toEqual(await simulateInstall(root, [...essential, ...wanted]));
}

const wantedLists: Readonly<Record<DebianRelease, readonly string[]>> = {
  bookworm: [
    'git',
    'python3',
    'clang lld llvm',
    'docker.io',
    'build-essential debhelper',
    'qemu-system-x86',
    'gnome',
  ],
  bullseye: ['python3 git', 'docker.io'],
  trixie: ['python3 git', 'docker.io'],
};

describe.each(debianReleases)('the closure in %s', (debian) => {
  let index: PackageIndex | undefined;

  it('of what a kernel is built with is the one of apt', { timeout: 300_000 }, async (context) => {
    const root = await orSkip(context, aptRoot(debian));
    index = await readFiles(root.packagesFiles);
    const wanted = environmentNeeds(
      { ...spec, environment: { debian } },
      { asked: () => true, resolved: () => true, makesKey: true },
    ).map((need) => need.package);
    await compare(index, root, wanted);
  });

  it.for(wantedLists[debian])('of %s is the one of apt', { timeout: 120_000 }, async (names, context) => {
    if (!index) return context.skip('the lists could not be read, see above');
    await compare(index, await aptRoot(debian), names.split(' '));
  });
});

/** A base system of the Essential packages and apt, as these indexes have them: a database of dpkg. */
async function baseOf(files: readonly string[]): Promise<string> {
  const { value } = resolveClosure(await readFiles(files), ['apt']);
  const there = new Set(value.map(({ record }) => `${record.package} ${record.version}`));
  const stanzas = (await Promise.all(files.map((file) => readFile(file, 'utf8')))).join('\n').split(/\n\n+/);
  const status = new Map<string, string>();
  for (const stanza of stanzas) {
    const field = (name: string): string => new RegExp(`^${name}: (.*)$`, 'm').exec(stanza)?.[1] ?? '';
    const key = `${field('Package')} ${field('Version')}`;
    if (there.has(key)) status.set(key, stanza.replace('\n', '\nStatus: install ok installed\n'));
  }
  expect(status.size).toBe(there.size);
  return `${[...status.values()].join('\n\n')}\n`;
}

describe('what a system lacks, in bookworm', () => {
  let folder = '';
  beforeAll(async () => {
    folder = await mkdtemp(path.join(tmpdir(), 'quern-system-'));
  });
  afterAll(async () => {
    await rm(folder, { recursive: true, force: true });
  });

  it.for<[string, DebianRelease, number | undefined, readonly string[]]>([
    ['without its updates', 'bookworm', 1, ['openssl']],
    ['of the release before, which most of has to be replaced', 'bullseye', undefined, ['gcc', 'make']],
  ])('a base system %s, is what apt adds', { timeout: 300_000 }, async ([, from, lists, more], context) => {
    const root = await orSkip(context, aptRoot('bookworm'));
    const base = await baseOf((await orSkip(context, aptRoot(from))).packagesFiles.slice(0, lists));
    const status = path.join(folder, 'status');
    await writeFile(status, base);
    const { records, faults } = readInstalled(Buffer.from(base), 'amd64');
    expect(faults).toEqual([]);
    const wanted =
      from === 'bookworm'
        ? environmentNeeds(spec, { asked: () => true, resolved: () => true, makesKey: true }).map(
            (need) => need.package,
          )
        : [];
    const all = [...wanted, ...more];
    const { value, diagnostics } = resolveAdditions(await readFiles(root.packagesFiles), all, records);
    expect(diagnostics).toEqual([]);
    const ours = value.map(({ record }) => `${record.package}=${record.version}`).sort();
    expect(ours).toEqual(await simulateInstall(root, all, status));
  });
});

describe('small releases that never were', () => {
  const run = promisify(execFile);
  let folder = '';
  beforeAll(async () => {
    folder = await mkdtemp(path.join(tmpdir(), 'quern-apt-'));
  });
  afterAll(async () => {
    await rm(folder, { recursive: true, force: true });
  });

  /** What apt would install, or undefined when it finds no way. */
  async function askApt(lines: string, wanted: readonly string[]): Promise<readonly string[] | undefined> {
    for (const one of ['etc/apt/apt.conf.d', 'state/lists/partial', 'cache/archives/partial', 'repo'])
      await mkdir(path.join(folder, one), { recursive: true });
    await writeFile(path.join(folder, 'repo/Packages'), packagesText(lines));
    await writeFile(path.join(folder, 'etc/apt/sources.list'), `deb [trusted=yes] file:${folder}/repo ./\n`);
    await writeFile(path.join(folder, 'state/status'), '');
    const settings = [
      `Dir "${folder}"; Dir::State "${folder}/state"; Dir::State::status "${folder}/state/status";`,
      `Dir::Cache "${folder}/cache"; APT::Architecture "amd64"; APT::Architectures { "amd64"; };`,
      'APT::Sandbox::User "root"; Acquire::Languages "none"; APT::Install-Recommends "false";',
    ];
    await writeFile(path.join(folder, 'apt.conf'), settings.join('\n'));
    const env = { PATH: process.env['PATH'], LC_ALL: 'C', APT_CONFIG: path.join(folder, 'apt.conf') };
    await run('apt-get', ['-qq', 'update'], { env });
    try {
      const { stdout } = await run('apt-get', ['-s', '-qq', 'install', ...wanted], { env });
      return [...stdout.matchAll(/^Inst (\S+) /gm)].map(([, name]) => name ?? '').sort();
    } catch {
      return undefined;
    }
  }

  const names = ['p0', 'p1', 'p2', 'p3', 'p4', 'p5', 'p6', 'p7'];
  const target = fc.tuple(
    fc.constantFrom(...names, 'v0', 'v1', 'gone'),
    fc.constantFrom('', '', ' (>= 2)', ' (<< 3)'),
  );
  const clause = fc
    .array(target, { minLength: 1, maxLength: 3 })
    .map((parts) => parts.map(([name, bound]) => name + bound).join(' | '));
  const depends = fc.array(clause, { maxLength: 3 }).map((clauses) => clauses.join(', '));
  // Providers differ in priority: where nothing decides, apt goes by the order in which its cache was filled.
  const virtuals: Readonly<Record<string, string>> = {
    p2: 'provides: v0; priority: important',
    p3: 'provides: v0 (= 2); priority: standard',
    p4: 'provides: v1; priority: required',
    p5: 'provides: v1, v0; priority: optional',
  };
  const release = fc
    .array(fc.tuple(fc.constantFrom('1', '2', '3'), depends), {
      minLength: names.length,
      maxLength: names.length,
    })
    .map((packages) =>
      packages
        .map(([version, needs], place) => {
          const name = names[place] ?? '';
          const extra = virtuals[name];
          return `${name} ${version}${needs === '' ? '' : `; depends: ${needs}`}${extra ? `; ${extra}` : ''}`;
        })
        .join('\n'),
    );

  it('are resolved as apt resolves them', { timeout: 300_000 }, async () => {
    await fc.assert(
      fc.asyncProperty(release, fc.subarray(names, { minLength: 1, maxLength: 2 }), async (lines, wanted) => {
        const { value, diagnostics } = resolveClosure(releaseOf(lines), wanted);
        const ours = diagnostics.length > 0 ? undefined : value.map(({ record }) => record.package).sort();
        expect(ours).toEqual(await askApt(lines, wanted));
      }),
      // Each run asks apt, so the examples are few and the same ones every time.
      { numRuns: 40, seed: 20261125 },
    );
  });
});
