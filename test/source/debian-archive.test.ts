import { readdirSync } from 'node:fs';

import { afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';

import { readIndexes } from '../../src/source/debian-archive.ts';
import { failureOf } from '../diagnostics/failure-of.ts';
import { makeWorld, type World } from '../container/world.ts';
import { serveFiles, type FileServer } from '../host/file-server.ts';
import { layArchive, xzSync, type ArchiveShape, type OtterArchive, type OtterKeys } from './otter-archive.ts';
import { makeKey } from './otter-key.ts';

let keys: OtterKeys;
beforeAll(async () => {
  const made = new Date('2026-01-01T00:00:00Z');
  const [archive, security] = await Promise.all([
    makeKey('Otter Bank archive', { made }),
    makeKey('Otter Bank security', { made }),
  ]);
  keys = { archive, security };
});

let server: FileServer;
let world: World;
beforeEach(async () => {
  server = await serveFiles();
  world = makeWorld();
});
afterEach(async () => {
  world.remove();
  await server.close();
});

/** A host whose clock says what a test wants. */
function at(time: string, env: Readonly<Record<string, string>> = {}): World['host'] {
  return { ...world.host, env: { ...world.host.env, ...env }, now: () => new Date(time) };
}

const today = '2026-11-25T12:00:00Z';

async function read(shape: ArchiveShape, host = at(today)): ReturnType<typeof readIndexes> {
  return readIndexes(host, (await layArchive(server, keys, shape)).request);
}

const gauge: ArchiveShape = {
  main: { packages: 'gauge 1.0\notter 2.0', date: new Date('2026-07-11T10:16:37Z') },
  updates: { packages: 'gauge 1.1', date: new Date('2026-11-20T02:12:15Z') },
  security: { packages: 'otter 2.0+deb12u1', date: new Date('2026-11-20T00:34:33Z') },
};

describe('readIndexes', () => {
  it('merges what main, updates and security have', async () => {
    const { index, indexes, origins, diagnostics } = await read(gauge);
    const found = [...index.candidates.values()].map(
      ({ origin, package: name, version }) => `${origin} ${name} ${version}`,
    );
    expect(found).toEqual(['debian gauge 1.1', 'debian-security otter 2.0+deb12u1']);
    expect(diagnostics).toEqual([]);
    const archive = keys.archive.publicKey.fingerprint;
    expect(indexes).toEqual([
      { origin: 'debian', suite: 'bookworm', date: '2026-07-11T10:16:37Z', signer: archive },
      { origin: 'debian', suite: 'bookworm-updates', date: '2026-11-20T02:12:15Z', signer: archive },
      {
        origin: 'debian-security',
        suite: 'bookworm-security',
        date: '2026-11-20T00:34:33Z',
        signer: keys.security.publicKey.fingerprint,
      },
    ]);
    // A day after the newest index of each origin: see the comment beside the code.
    expect(origins).toEqual({
      debian: {
        url: `${server.url}/debian`,
        snapshot: 'http://snapshot.debian.org/archive/debian/20261121T021215Z',
      },
      'debian-security': {
        url: `${server.url}/debian-security`,
        snapshot: 'http://snapshot.debian.org/archive/debian-security/20261121T003433Z',
      },
    });
  });

  it('fetches an index by its digest, and not again when it has not changed', async () => {
    const { request, paths } = await layArchive(server, keys, gauge);
    await readIndexes(at(today), request);
    await readIndexes(at(today), request);
    const asked = server.requests.filter((path) => !path.endsWith('InRelease'));
    expect([...asked].sort()).toEqual(
      [paths.main.byHash, paths.updates.byHash, paths.security.byHash].sort(),
    );
  });

  it('fetches an index by its name when the archive has it under no other, or says so', async () => {
    const { request, paths } = await layArchive(server, keys, { ...gauge, updates: { byHash: false } });
    server.on(paths.main.byHash, { status: 404 });
    await readIndexes(at(today), request);
    expect(server.requests).toEqual(expect.arrayContaining([paths.main.named, paths.updates.named]));
    expect(server.requests).not.toContain(paths.updates.byHash);
  });

  it('reads an index that is packed with gzip, and one whose unpacked size nobody tells', async () => {
    const { index } = await read({
      main: { packages: 'gauge 1.0', compression: 'gz' },
      updates: { packages: 'otter 1.0', unpacked: null },
    });
    expect([...index.candidates.keys()]).toEqual(['gauge', 'otter']);
  });

  it('asks the mirrors of this machine', async () => {
    const { request } = await layArchive(server, keys, gauge);
    const away = 'http://archive.otter-bank.example';
    const urls = { debian: `${away}/debian`, 'debian-security': `${away}/debian-security` };
    const { index, origins } = await readIndexes(at(today, { QUERN_MIRRORS: `${away}=${server.url}` }), {
      ...request,
      urls,
    });
    expect(index.candidates.size).toBe(2);
    // A lock is for everybody: it names the archive, not this machine's way to it.
    expect(origins['debian']?.url).toBe(`${away}/debian`);
  });

  describe('of a day in the past', () => {
    const day = '2026-11-21T06:00:00Z';
    const dated = 'http://snapshot.debian.org/archive';
    /** The test's archive stands for the dated copies. */
    const mirrors = (stamp: string): Readonly<Record<string, string>> => ({
      QUERN_MIRRORS: ['debian', 'debian-security']
        .map((origin) => `${dated}/${origin}/${stamp}=${server.url}/${origin}`)
        .join(' '),
    });

    it('are those of the dated copies, however old they are by now', async () => {
      const { request } = await layArchive(server, keys, {
        ...gauge,
        updates: { ...gauge.updates, validUntil: new Date('2026-11-23T00:00:00Z') },
      });
      const found = await readIndexes(at(today, mirrors('20261121T060000Z')), { ...request, snapshot: day });
      expect(found.index.candidates.size).toBe(2);
      expect(found.diagnostics).toEqual([]);
      expect(Object.values(found.origins).map(({ snapshot }) => snapshot)).toEqual([
        `${dated}/debian/20261121T060000Z`,
        `${dated}/debian-security/20261121T060000Z`,
      ]);
    });

    it('are refused when they are of a later day', async () => {
      const { request } = await layArchive(server, keys, gauge);
      const early = { ...request, snapshot: '2026-11-01T00:00:00Z' };
      const failure = await failureOf(readIndexes(at(today, mirrors('20261101T000000Z')), early));
      expect(failure).toMatchObject({ code: 'source/not-the-snapshot', exit: 2 });
      expect(failure.message).toContain('later than the snapshot that the spec asks for');
    });

    it('are not asked for before that day is over', async () => {
      const { request } = await layArchive(server, keys, gauge);
      const failure = await failureOf(readIndexes(at('2026-11-20T00:00:00Z'), { ...request, snapshot: day }));
      expect(failure.message).toBe(`environment.snapshot is ${day}, which is still to come`);
      expect(server.requests).toEqual([]);
    });
  });

  it('warns of an index that was good until yesterday, and says how old it is', async () => {
    const { diagnostics } = await read({
      ...gauge,
      updates: { validUntil: new Date('2026-11-24T00:00:00Z') },
    });
    expect(diagnostics).toMatchObject([{ code: 'source/index-old', severity: 'warning' }]);
    expect(diagnostics[0]?.message).toContain('bookworm-updates is 5 days old');
  });
});

describe('readIndexes, when it cannot be', () => {
  const big = Buffer.alloc(40 << 20, 'x\n');

  it.each<[string, ArchiveShape, string, RegExp]>([
    [
      'the index of another suite',
      { updates: { codename: 'trixie-updates' } },
      'source/wrong-suite 4',
      /trixie-updates, not of bookworm-updates/,
    ],
    [
      'no packages for the architecture',
      { main: { architecture: 'arm64' } },
      'source/index-missing 4',
      /no packages for amd64/,
    ],
    [
      'an index that cannot be unpacked',
      { main: { compressed: Buffer.from('not xz') } },
      'source/bad-index 4',
      /no xz file/,
    ],
    [
      'an index that breaks off',
      { main: { compressed: xzSync(big).subarray(0, -50) } },
      'source/bad-index 4',
      /xz file|does not unpack/,
    ],
    [
      'an index that unpacks to more than it says',
      { main: { compressed: xzSync(big), unpacked: 10 } },
      'source/bad-index 4',
      /10 bytes/,
    ],
    [
      'an index that unpacks to less than it says',
      { main: { packages: 'gauge 1.0', unpacked: 1 << 20 } },
      'source/bad-index 4',
      /1048576 bytes/,
    ],
    [
      'an index with nonsense in it',
      { main: { compressed: xzSync(Buffer.from('x\n')), unpacked: 2 } },
      'source/bad-index 4',
      /line 1: .*colon/,
    ],
    [
      'a package with a hostile name',
      { main: { packages: '../../gauge 1.0' } },
      'source/bad-index 4',
      /line 1: Package/,
    ],
  ])('refuses %s', async (_, shape, code, message) => {
    const report = await failureOf(read(shape));
    expect(`${report.code} ${report.exit}`).toBe(code);
    expect(report.message).toMatch(message);
  });

  it('refuses security updates that the key of the archive has signed', async () => {
    expect((await failureOf(read({ security: { key: keys.archive } }))).code).toBe('source/wrong-key');
  });

  async function laid(): Promise<OtterArchive> {
    return layArchive(server, keys, gauge);
  }

  it('says that a release is gone, and where old ones are', async () => {
    const { request } = await laid();
    server.on('/debian/dists/bookworm-updates/InRelease', { status: 404 });
    const report = await failureOf(readIndexes(at(today), request));
    expect(report).toMatchObject({
      code: 'source/release-gone',
      exit: 3,
      message: 'the archive has no suite bookworm-updates',
    });
    expect(report.help).toContain(`QUERN_MIRRORS="${server.url}/debian=http://archive.debian.org/debian"`);
  });

  it('says that the archive cannot be reached', async () => {
    const { request } = await laid();
    server.on('/debian/dists/bookworm/InRelease', { status: 502 });
    expect(await failureOf(readIndexes(at(today), request))).toMatchObject({
      code: 'source/index-unreachable',
      exit: 3,
    });
  });

  it('refuses an index that is not the one that was signed, wherever it comes from', async () => {
    const { request, paths } = await laid();
    for (const path of Object.values(paths.main))
      server.on(path, { body: xzSync(Buffer.from('Package: trap\n')) });
    const report = await failureOf(readIndexes(at(today), request));
    expect(report).toMatchObject({ code: 'host/wrong-digest', exit: 4 });
    expect(readdirSync(world.host.store.folder).every((name) => /^[0-9a-f]{64}$/.test(name))).toBe(true);
  });

  it('refuses a signed index without end', async () => {
    const { request } = await laid();
    server.on('/debian/dists/bookworm/InRelease', { body: Buffer.alloc(9 << 20) });
    expect((await failureOf(readIndexes(at(today), request))).notes[0]).toContain('more than');
  });

  it('stops when it is interrupted', async () => {
    const { request } = await laid();
    const reason = new Error('Ctrl-C');
    server.on('/debian/dists/bookworm/InRelease', 'silent');
    setTimeout(() => world.interrupt(reason), 100);
    await expect(
      readIndexes(at(today), {
        ...request,
        limits: { connect: 60_000, stall: 60_000, pace: 0, redirects: 3 },
      }),
    ).rejects.toBe(reason);
  });
});
