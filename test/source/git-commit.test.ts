/**
 * The referees are git itself (`git archive`, `git ls-tree`, and a check-out of the same commit) and GnuPG, with which
 * `git tag --sign` signs.
 */
import { execFileSync } from 'node:child_process';
import {
  chmodSync,
  cpSync,
  existsSync,
  linkSync,
  mkdirSync,
  readFileSync,
  readdirSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';

import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';

import { fetchPinnedCommit, pinCommit } from '../../src/source/git-commit.ts';
import type { GitPin, KeyPin } from '../../src/spec/lock.ts';
import type { GitSource } from '../../src/spec/spec.ts';
import { failureOf } from '../diagnostics/failure-of.ts';
import { makeWorld, type World } from '../container/world.ts';
import { makeCertificate } from '../host/certificate.ts';
import { GitRepository, serveRepositories, type GitServer } from './git-server.ts';
import { Gnupg, sha256 } from './release-server.ts';

const site = 'https://git.otter-bank.example';
const url = `${site}/linux.git`;
const quick = { limits: { connect: 2000, stall: 1000, pace: 1000, redirects: 0 }, pauses: [] };

let gnupg: Gnupg;
let signer: string;
let made: World;
let commit: string;
beforeAll(() => {
  gnupg = new Gnupg();
  signer = gnupg.makeKey('releases@otter-bank.example');
  made = makeWorld();
  commit = makeRepository(join(made.folder, 'linux.git'));
});
afterAll(() => {
  gnupg.remove();
  made.remove();
});

/** @returns its second commit, which has a tag */
function makeRepository(folder: string): string {
  const repository = GitRepository.make(folder);
  repository.write('Makefile', 'VERSION = 6\n');
  repository.write('scripts/ld-version.sh', '#!/bin/sh\n');
  chmodSync(join(folder, 'scripts/ld-version.sh'), 0o755);
  symlinkSync('../Makefile', join(folder, 'scripts/link'));
  repository.write('dos.txt', 'a\r\nb\r\n');
  repository.write('unix.txt', 'a\nb\n');
  repository.write('old.c', '/* $Id$ $Format:%H$ */\n');
  repository.write(
    '.gitattributes',
    'dos.txt text\nunix.txt text eol=crlf\nold.c ident export-subst\nMakefile export-ignore filter=otter\n',
  );
  repository.commit('first');
  repository.write('Makefile', 'VERSION = 6\nPATCHLEVEL = 1\n');
  const second = repository.commit('second');
  repository.git('tag', 'v6.1.192');
  return second;
}

let world: World;
let server: GitServer;
let repository: GitRepository;
beforeEach(async () => {
  world = makeWorld();
  const folder = join(world.folder, 'served');
  server = await serveRepositories(folder);
  Object.assign(world.host.env, { QUERN_MIRRORS: `${site}=${server.url}` });
  cpSync(made.folder, folder, { recursive: true, verbatimSymlinks: true });
  repository = GitRepository.at(join(folder, 'linux.git'));
});
afterEach(async () => {
  world.remove();
  await server.close();
});

const source = (more: Partial<GitSource>): GitSource => ({
  kind: 'git',
  url,
  signers: [],
  keys: [],
  ...more,
});

async function pin(more: Partial<GitSource>, on = world, keys: readonly KeyPin[] = []): Promise<GitPin> {
  const locate = (path: string): Promise<string> => Promise.resolve(join(world.folder, path));
  const { value } = await pinCommit(on.host, { source: source(more), keys }, locate, quick);
  return value;
}

/** Of the store: nothing that was made on the way is left. */
function stored(on = world): readonly string[] {
  const { folder } = on.host.store;
  return existsSync(folder) ? readdirSync(folder).filter((name) => name !== 'fetched') : [];
}

describe('a commit', () => {
  it('is pinned by its name, its tree and the tar that git archive makes of it', async () => {
    const value = await pin({ commit });
    const tar = repository.git('rev-parse', 'HEAD^{tree}');
    expect(value).toEqual({
      kind: 'git',
      url,
      commit,
      tree: tar,
      size: expect.any(Number),
      sha256: expect.stringMatching(/^[0-9a-f]{64}$/u),
      keys: [],
    });
    expect(stored()).toEqual([value.sha256]);
    expect(world.told).toContain('stage fetching the commit');

    // where nobody's attributes have a say, that is what git makes by itself
    const plain = GitRepository.make(join(world.folder, 'plain'));
    plain.git('fetch', '--quiet', repository.folder, commit);
    writeFileSync(
      join(plain.folder, '.git/info/attributes'),
      '* -export-ignore -export-subst -text -eol -ident\n',
    );
    const archived = join(world.folder, 'archived.tar');
    plain.git(
      'archive',
      '--format=tar',
      `--prefix=linux-${commit.slice(0, 12)}/`,
      `--output=${archived}`,
      commit,
    );
    expect(value.sha256).toBe(sha256(execFileSync('cat', [archived])));
  });

  it('has each file as it is in the repository, whatever attributes say', async () => {
    const { sha256: digest } = await pin({ commit });
    const tar = world.host.store.path(digest);
    const listed = execFileSync('tar', ['-tvf', tar, '--numeric-owner', '--utc'], { encoding: 'utf8' });
    expect(listed).toMatch(/^drwxrwxr-x 0\/0 +0 2026-01-02 00:00 linux-[0-9a-f]{12}\/$/mu);
    expect(listed).toMatch(/^-rwxrwxr-x .* linux-\w+\/scripts\/ld-version\.sh$/mu);
    expect(listed).toMatch(/^lrwxrwxrwx .* linux-\w+\/scripts\/link -> \.\.\/Makefile$/mu);
    mkdirSync(join(world.folder, 'out'));
    execFileSync('tar', ['-xf', tar, '-C', join(world.folder, 'out'), '--strip-components=1']);
    for (const line of repository.git('ls-tree', '-r', commit).split('\n')) {
      const [mode, , blob = '', path = ''] = line.split(/\s+/u);
      if (mode === '120000') continue;
      const found = execFileSync('git', ['hash-object', '--no-filters', join(world.folder, 'out', path)]);
      expect(`${path} ${found.toString().trim()}`).toBe(`${path} ${blob}`);
    }
  });

  it('is fetched by its pin elsewhere, to the same bytes, and only where the store does not have it', async () => {
    const pinned = await pin({ commit });
    const before = server.requests.length;
    await fetchPinnedCommit(world.host, pinned, quick);
    expect(server.requests).toHaveLength(before);
    const elsewhere = makeWorld({ ...world.host.env } as Record<string, string>);
    try {
      await fetchPinnedCommit(elsewhere.host, pinned, quick);
      expect(stored(elsewhere)).toEqual([pinned.sha256]);
    } finally {
      elsewhere.remove();
    }
  });

  it('is taken from a folder that lends it, as one that was kept does, without asking anybody', async () => {
    const pinned = await pin({ tag: 'v6.1.192' });
    const lender = makeWorld({ ...world.host.env } as Record<string, string>);
    try {
      const file = join(lender.folder, 'linux-6.1.192.tar');
      cpSync(world.host.store.path(pinned.sha256), file);
      lender.host.store.lend(new Map([[pinned.sha256, file]]));
      const before = server.requests.length;
      await fetchPinnedCommit(lender.host, pinned, quick);
      expect(server.requests).toHaveLength(before);
    } finally {
      lender.remove();
    }
  });

  it('is not fetched again while nothing is pinned; what the store notes of it is not believed', async () => {
    const first = await pin({ commit });
    const before = server.requests.length;
    expect(await pin({ commit })).toEqual(first);
    expect(server.requests).toHaveLength(before);

    const notes = join(world.host.store.folder, 'fetched');
    const [note = ''] = readdirSync(notes).map((name) => join(notes, name));
    const right = readFileSync(note);
    const other = await world.host.store.add([Buffer.from('no tar')]);
    const swapped = Buffer.concat([Buffer.from(`${other.sha256}\n`), right.subarray(65)]);
    const older = repository.git('cat-file', 'commit', 'HEAD^');
    const forged = Buffer.concat([right.subarray(0, 65), Buffer.from(`${older}\n`)]);
    // the right files, and one more link to one of them, which is no part of a tree
    const extended = join(world.folder, 'extended');
    mkdirSync(extended);
    execFileSync('tar', ['-xf', world.host.store.path(first.sha256), '-C', extended]);
    const [top = ''] = readdirSync(extended);
    linkSync(join(extended, top, 'Makefile'), join(extended, top, 'zz'));
    const bytes = execFileSync('tar', [
      '-c',
      '--sort=name',
      '--mtime=2026-01-02T00:00:00Z',
      '-C',
      extended,
      top,
    ]);
    const linked = Buffer.from(`${(await world.host.store.add([bytes])).sha256}\n`);
    rmSync(join(extended, top, 'zz'));
    const dated = execFileSync('tar', [
      '-c',
      '--sort=name',
      '--mtime=2026-01-03T00:00:00Z',
      '-C',
      extended,
      top,
    ]);
    const later = Buffer.from(`${(await world.host.store.add([dated])).sha256}\n`);
    for (const line of [linked, later]) {
      writeFileSync(note, Buffer.concat([line, right.subarray(65)]));
      expect(await pin({ commit })).toEqual(first);
    }
    for (const wrong of [swapped, forged, right.subarray(0, 70), Buffer.from('x')]) {
      writeFileSync(note, wrong);
      const count = server.requests.length;
      expect(await pin({ commit })).toEqual(first);
      expect(server.requests.length).toBeGreaterThan(count);
    }
  });

  it('is the same where the machine and its user have settings of their own', async () => {
    const elsewhere = makeWorld({ ...world.host.env } as Record<string, string>);
    try {
      const hook = join(elsewhere.folder, 'hooks');
      mkdirSync(join(hook, 'hooks'), { recursive: true });
      for (const name of ['reference-transaction', 'post-checkout', 'pre-auto-gc'])
        writeFileSync(join(hook, 'hooks', name), `#!/bin/sh\ntouch ${elsewhere.folder}/hooked\n`, {
          mode: 0o755,
        });
      writeFileSync(
        join(elsewhere.folder, 'config'),
        `[core]\n\tautocrlf = true\n\thooksPath = ${hook}/hooks\n\tattributesFile = ${elsewhere.folder}/attributes\n` +
          `[init]\n\ttemplateDir = ${hook}\n[tar]\n\tumask = 0077\n[filter "otter"]\n\tsmudge = tr A-Z a-z\n`,
      );
      writeFileSync(join(elsewhere.folder, 'attributes'), '* export-ignore\n');
      Object.assign(elsewhere.host.env, {
        GIT_CONFIG_GLOBAL: join(elsewhere.folder, 'config'),
        GIT_DIR: '/nonexistent',
        GIT_INDEX_FILE: '/nonexistent',
        TZ: 'Asia/Kolkata',
        LC_ALL: 'C.UTF-8',
      });
      expect(await pin({ commit }, elsewhere)).toEqual(await pin({ commit }));
      expect(existsSync(join(elsewhere.folder, 'hooked'))).toBe(false);
    } finally {
      elsewhere.remove();
    }
  });

  it('that the repository does not have is told as that', async () => {
    expect(await failureOf(pin({ commit: 'a'.repeat(40) }))).toMatchObject({
      code: 'source/no-commit',
      exit: 2,
    });
    const blob = repository.git('rev-parse', `${commit}:Makefile`);
    expect(await failureOf(pin({ commit: blob }))).toMatchObject({ code: 'source/no-commit' });
    expect(stored()).toEqual([]);
  });

  it('with a link that leads out of it is refused', async () => {
    symlinkSync('../../weir', join(repository.folder, 'out'));
    const { code, message } = await failureOf(pin({ commit: repository.commit() }));
    expect([code, message]).toEqual(['source/unsafe-archive', expect.stringContaining('/out')]);
    expect(stored()).toEqual([]);
  });

  it('of a few bytes that are files without end is refused, and nothing is left', async () => {
    let tree = repository.git('rev-parse', 'HEAD^{tree}');
    for (let level = 0; level < 9; level += 1) {
      const lines = [...'0123456789'].map((name) => `040000 tree ${tree}\t${name}`);
      repository.write('../list', `${lines.join('\n')}\n`);
      const file = join(world.folder, 'served/list');
      tree = execFileSync('sh', ['-c', 'git -C "$0" mktree <"$1"', repository.folder, file])
        .toString()
        .trim();
    }
    const bomb = repository.git('commit-tree', tree, '-m', 'bomb');
    repository.git('branch', 'bomb', bomb);
    expect(await failureOf(pin({ commit: bomb }))).toMatchObject({ code: 'source/too-large', exit: 4 });
    expect(stored()).toEqual([]);
  });

  it('that a lock names otherwise than its tar is refused, whether the store has that or not', async () => {
    const pinned = await pin({ commit });
    const other = repository.git('rev-parse', 'HEAD^');
    const wrong = { code: 'source/wrong-tar', exit: 4 };
    expect(await failureOf(fetchPinnedCommit(world.host, { ...pinned, commit: other }, quick))).toMatchObject(
      wrong,
    );
    const elsewhere = makeWorld({ ...world.host.env } as Record<string, string>);
    try {
      const tree = repository.git('rev-parse', `${other}^{tree}`);
      const edited = fetchPinnedCommit(elsewhere.host, { ...pinned, tree }, quick);
      expect(await failureOf(edited)).toMatchObject(wrong);
    } finally {
      elsewhere.remove();
    }
  });

  it('with a submodule is refused, since its files are elsewhere', async () => {
    repository.git('update-index', '--add', '--cacheinfo', `160000,${commit},tools/otter`);
    repository.git('commit', '--quiet', '--message=submodule');
    const { code, message } = await failureOf(pin({ commit: repository.git('rev-parse', 'HEAD') }));
    expect([code, message]).toEqual(['source/special-file', expect.stringContaining('tools/otter')]);
  });
});

describe('a tag', () => {
  it('leads to a commit, in a folder that is called as that of a release', async () => {
    const value = await pin({ tag: 'v6.1.192' });
    expect(value).toMatchObject({ tag: 'v6.1.192', commit });
    const names = execFileSync('tar', ['-tf', world.host.store.path(value.sha256)], { encoding: 'utf8' });
    expect(names.split('\n')).toContain('linux-6.1.192/Makefile');
    expect(await pin({ tag: 'v6.1.192', commit })).toEqual(value);
  });

  it('that is not there, or is a branch, is told as that', async () => {
    const missing = await failureOf(pin({ tag: 'v6.1.193' }));
    expect(missing).toMatchObject({ code: 'source/no-commit', exit: 2 });
    expect(missing.message).toContain('no tag `v6.1.193`');
    const branch = await failureOf(pin({ tag: 'main' }));
    expect(branch.help).toContain('A branch is no tag');
  });

  it('is asked for by itself when its commit was fetched before', async () => {
    const first = await pin({ tag: 'v6.1.192' });
    const before = server.requests.length;
    expect(await pin({ tag: 'v6.1.192' })).toEqual(first);
    // what there is to ask, and the question
    expect(server.requests.slice(before)).toHaveLength(2);
    repository.git('tag', '--force', 'v6.1.192', 'HEAD^');
    expect((await pin({ tag: 'v6.1.192' })).commit).toBe(repository.git('rev-parse', 'HEAD^'));
  });

  it('that leads elsewhere than the spec says is refused', async () => {
    const other = repository.git('rev-parse', 'HEAD^');
    expect(await failureOf(pin({ tag: 'v6.1.192', commit: other }))).toMatchObject({
      code: 'source/tag-differs',
      exit: 4,
    });
  });

  it('that was moved does not take the pinned commit away, as long as it is there', async () => {
    const pinned = await pin({ tag: 'v6.1.192' });
    repository.write('Makefile', 'VERSION = 7\n');
    repository.commit('third');
    repository.git('tag', '--force', 'v6.1.192');
    const elsewhere = makeWorld({ ...world.host.env } as Record<string, string>);
    try {
      await fetchPinnedCommit(elsewhere.host, pinned, quick);
      expect(stored(elsewhere)).toEqual([pinned.sha256]);
    } finally {
      elsewhere.remove();
    }
    repository.git('checkout', '--quiet', '--orphan', 'new');
    repository.commit('another history');
    repository.git('tag', '--force', 'v6.1.192');
    repository.git('branch', '--quiet', '-D', 'main');
    repository.git('reflog', 'expire', '--expire=now', '--all');
    repository.git('gc', '--quiet', '--prune=now');
    const alone = makeWorld({ ...world.host.env } as Record<string, string>);
    try {
      const moved = await failureOf(fetchPinnedCommit(alone.host, pinned, quick));
      expect(moved).toMatchObject({ code: 'source/tag-differs', exit: 4 });
      expect(moved.message).toContain(commit);
    } finally {
      alone.remove();
    }
  });
});

describe('a tag that is signed', () => {
  const sign = (name: string, ...options: readonly string[]): void => {
    repository.gitWith(
      { GNUPGHOME: gnupg.home },
      'tag',
      '--sign',
      `--local-user=${signer}`,
      '--message=Linux',
      ...options,
      name,
    );
  };
  const signed = { signers: ['x'], keyring: 'keys.asc' };
  beforeEach(() => {
    signed.signers = [signer];
    writeFileSync(join(world.folder, 'keys.asc'), gnupg.run(['--export', '--armor', signer]));
  });

  it('is accepted as git verify-tag accepts it, and its signer pinned', async () => {
    sign('v6.1.200');
    repository.gitWith({ GNUPGHOME: gnupg.home }, 'verify-tag', 'v6.1.200');
    const value = await pin({ tag: 'v6.1.200', ...signed });
    expect(value.signature).toEqual({
      sha256: expect.stringMatching(/^[0-9a-f]{64}$/u),
      signer,
      made: expect.stringMatching(/^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$/u),
    });
    expect(value.keyring?.path).toBe('keys.asc');
    // it signs the commit, and the tar follows from that
    const { sha256: digest } = await pin({ tag: 'v6.1.200' });
    expect(digest).toBe(value.sha256);
  });

  it('is verified again, and not fetched again, until it is asked for anew', async () => {
    sign('v6.1.203');
    const first = await pin({ tag: 'v6.1.203', ...signed });
    const before = server.requests.length;
    expect(await pin({ tag: 'v6.1.203', ...signed })).toEqual(first);
    expect(server.requests).toHaveLength(before);
    sign('v6.1.203', '--force', '--message=again');
    const locate = (path: string): Promise<string> => Promise.resolve(join(world.folder, path));
    const asked = { source: source({ tag: 'v6.1.203', ...signed }), keys: [], fresh: true };
    const { value } = await pinCommit(world.host, asked, locate, quick);
    expect(value.signature?.sha256).not.toBe(first.signature?.sha256);
    expect(value.sha256).toBe(first.sha256);
    // with other signers the kept one counts for nothing
    const heron = gnupg.makeKey('heron2@otter-bank.example');
    writeFileSync(join(world.folder, 'heron.asc'), gnupg.run(['--export', '--armor', heron]));
    const stranger = pin({ tag: 'v6.1.203', signers: [heron], keyring: 'heron.asc' });
    expect(await failureOf(stranger)).toMatchObject({ code: 'source/wrong-key' });
  });

  it.each<[string, () => void, string]>([
    ['nobody has signed', () => repository.git('tag', 'v6.1.201'), 'source/no-signature'],
    [
      'has a message and no signature',
      () => repository.git('tag', '--annotate', '--message=x', 'v6.1.201'),
      'source/no-signature',
    ],
    [
      'was signed under another name',
      () => {
        sign('v6.1.199');
        repository.git('tag', 'v6.1.201', 'v6.1.199');
      },
      'source/altered',
    ],
    [
      'was changed after it was signed',
      () => {
        sign('v6.1.201');
        const text = repository.git('cat-file', 'tag', 'v6.1.201').replace('\nLinux\n', '\nLinus\n');
        repository.write('../forged', `${text}\n`);
        const forged = repository.git('hash-object', '-t', 'tag', '-w', '../forged');
        repository.git('update-ref', 'refs/tags/v6.1.201', forged);
      },
      'source/altered',
    ],
  ])('%s: refused', async (_, make, code) => {
    make();
    expect(await failureOf(pin({ tag: 'v6.1.201', ...signed }))).toMatchObject({ code, exit: 4 });
    expect(stored()).toEqual([]);
  });

  it('by somebody else is refused', async () => {
    const other = gnupg.makeKey('heron@otter-bank.example');
    sign('v6.1.202', `--local-user=${other}`);
    expect(await failureOf(pin({ tag: 'v6.1.202', ...signed }))).toMatchObject({ code: 'source/wrong-key' });
  });
});

describe('a server', () => {
  const status =
    (code: number, headers: Readonly<Record<string, string>> = {}): GitServer['intercept'] =>
    (_, response) => {
      response.writeHead(code, headers).end();
      return true;
    };

  it.each([
    ['has no such repository', 404, {}, 'host/gone', /has left every place/u],
    ['is not well', 503, {}, 'host/download-failed', /503/u],
    ['asks who we are', 401, { 'www-authenticate': 'Basic realm="otter"' }, 'host/download-failed', /NETRC/u],
    ['sends us elsewhere', 302, { location: 'http://127.0.0.1:1/x' }, 'host/download-failed', /elsewhere/u],
  ] as const)('%s', async (_, code, headers, expected, says) => {
    server.intercept = status(code, headers);
    const failure = await failureOf(pin({ commit }));
    expect(failure).toMatchObject({ code: expected, exit: 3 });
    expect([failure.message, ...failure.notes].join('\n')).toMatch(says);
    expect(stored()).toEqual([]);
  });

  it('that fails once is asked again', async () => {
    let count = 0;
    server.intercept = (_, response) => {
      count += 1;
      if (count > 1) return false;
      response.writeHead(503).end();
      return true;
    };
    const locate = (): Promise<string> => Promise.reject(new Error('none'));
    const { value } = await pinCommit(world.host, { source: source({ commit }), keys: [] }, locate, {
      ...quick,
      pauses: [10],
    });
    expect(value.commit).toBe(commit);
  });

  it('that is silent is given up', async () => {
    server.intercept = (request) => request.method === 'POST';
    expect(await failureOf(pin({ commit }))).toMatchObject({ code: 'host/download-failed' });
  });

  // gitprotocol-v2(5) and gitprotocol-pack(5): references come in lines with their length before them
  it.each(['2', '0'])(
    'that lists references without end does not take the memory (protocol %s)',
    async (protocol) => {
      const line = (text: string): string => (text.length + 4).toString(16).padStart(4, '0') + text;
      const some = (from: number): string =>
        Array.from({ length: 2000 }, (_, nth) => line(`${commit} refs/tags/v6.1/${from + nth}\n`)).join('');
      let sent = 0;
      server.intercept = (request, response) => {
        const list = protocol === '2' ? request.method === 'POST' : request.method === 'GET';
        if (!list) return false;
        response.setHeader(
          'content-type',
          `application/x-git-upload-pack-${protocol === '2' ? 'result' : 'advertisement'}`,
        );
        if (protocol === '0')
          response.write(
            `${line('# service=git-upload-pack\n')}0000${line(`${commit} HEAD\0agent=otter\n`)}`,
          );
        const more = (): void => {
          let room = true;
          while (room && !response.destroyed) room = response.write(some((sent += 2000)));
        };
        response.on('drain', more);
        more();
        return true;
      };
      const locate = (): Promise<string> => Promise.reject(new Error('none'));
      const failure = await failureOf(
        pinCommit(world.host, { source: source({ tag: 'v6.1' }), keys: [] }, locate, {
          limits: { ...quick.limits, stall: 60_000, memory: 256 * 2 ** 20 },
          pauses: [],
        }),
      );
      expect(failure).toMatchObject({ code: 'host/download-failed', exit: 3 });
      expect(failure.notes.join('\n')).toMatch(/git may take 268 MB of memory, and that was not enough/u);
      expect(stored()).toEqual([]);
    },
  );

  it('that hands out other bytes than their names is found out', async () => {
    const objectAt = (name: string): string =>
      join(repository.folder, '.git/objects', name.slice(0, 2), name.slice(2));
    const other = readFileSync(objectAt(repository.git('rev-parse', 'HEAD^')));
    chmodSync(objectAt(commit), 0o644);
    writeFileSync(objectAt(commit), other);
    expect(await failureOf(pin({ commit }))).toMatchObject({ code: 'source/unsound-commit', exit: 4 });
    expect(stored()).toEqual([]);
  });

  it('on this machine is not what a spec may name', async () => {
    const inside = source({ url: `https://localhost.otter-bank.example/linux.git`, commit });
    Object.assign(world.host.env, { QUERN_MIRRORS: '', QUERN_ALLOWED_HOSTS: '' });
    const bare = makeWorld({ QUERN_ALLOWED_HOSTS: '' });
    const locate = (): Promise<string> => Promise.reject(new Error('none'));
    try {
      for (const name of ['127.0.0.1', 'localhost', '[::1]']) {
        const asked = { source: { ...inside, url: `https://${name}/linux.git` }, keys: [] };
        expect(await failureOf(pinCommit(bare.host, asked, locate, quick))).toMatchObject({
          code: 'host/forbidden-target',
        });
      }
    } finally {
      bare.remove();
    }
  });

  it('is shown the login of the machine, by https alone, and its authority is the machine’s', async () => {
    const certificate = makeCertificate(world.folder);
    const secure = await serveRepositories(join(world.folder, 'served'), certificate);
    writeFileSync(join(world.folder, 'netrc'), 'machine 127.0.0.1 login otter password weir\n');
    secure.intercept = (request, response) => {
      if (request.headers.authorization !== undefined) return false;
      response.writeHead(401, { 'www-authenticate': 'Basic realm="otter"' }).end();
      return true;
    };
    const known = makeWorld({
      QUERN_MIRRORS: `${site}=${secure.url}`,
      NETRC: join(world.folder, 'netrc'),
      NODE_EXTRA_CA_CERTS: certificate.file,
    });
    const stranger = makeWorld({ QUERN_MIRRORS: `${site}=${secure.url}` });
    try {
      expect((await pin({ commit }, known)).commit).toBe(commit);
      const basic = `Basic ${Buffer.from('otter:weir').toString('base64')}`;
      expect(new Set(secure.logins)).toEqual(new Set([basic]));
      const { notes } = await failureOf(pin({ commit }, stranger));
      expect(notes.join()).toMatch(/certificate/iu);
      secure.intercept = (_, response) => {
        response.writeHead(401, { 'www-authenticate': 'Basic realm="otter"' }).end();
        return true;
      };
      const other = repository.commit('another');
      const refused = await failureOf(pin({ commit: other }, known));
      expect(refused.notes.join()).toMatch(/does not take the login in the file that NETRC names/u);
    } finally {
      known.remove();
      stranger.remove();
      await secure.close();
    }
  });
});

it('asks no program of the machine for a login', async () => {
  server.intercept = (_, response) => {
    response.writeHead(401, { 'www-authenticate': 'Basic realm="otter"' }).end();
    return true;
  };
  const asked = join(world.folder, 'asked');
  world.program('askpass', `touch ${asked}; echo weir`);
  const program = join(world.folder, 'bin/askpass');
  Object.assign(world.host.env, { SSH_ASKPASS: program, GIT_ASKPASS: program, DISPLAY: ':0' });
  await failureOf(pin({ commit }));
  expect(existsSync(asked)).toBe(false);
});

it('with a git that does not work, it is told what git says', async () => {
  writeFileSync(join(world.folder, 'config'), '[otter\n');
  Object.assign(world.host.env, { GIT_CONFIG_GLOBAL: join(world.folder, 'config') });
  const { code, notes } = await failureOf(pin({ commit }));
  expect([code, notes.join()]).toEqual(['host/bad-setting', expect.stringContaining('bad config')]);
});

it('without git, what is missing is said', async () => {
  Object.assign(world.host.env, { PATH: '/nonexistent' });
  expect(await failureOf(pin({ commit }))).toMatchObject({
    code: 'host/program-missing',
    exit: 3,
    help: expect.stringContaining('Install git'),
  });
});
