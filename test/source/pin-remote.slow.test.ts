/** Debian's whole kernel source as a release: signed by gpg over the stream that xz gives, as kernel.org's are. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterAll, beforeAll, expect, it } from 'vitest';

import { packOfArchive } from '../../src/source/read-pack.ts';
import { pinRemote } from '../../src/source/pin-remote.ts';
import { makeWorld, type World } from '../container/world.ts';
import { serveFiles, type FileServer } from '../host/file-server.ts';
import { fetchPackage } from '../oracle/apt-root.ts';
import { Gnupg, mirrorsTo, pathAt, tarballName, version } from './release-server.ts';

const sh = (script: string, ...words: readonly string[]): string =>
  execFileSync('sh', ['-euc', script, 'sh', ...words], { encoding: 'utf8', maxBuffer: 1 << 20 });

let folder: string;
let gnupg: Gnupg;
let server: FileServer;
let world: World;
beforeAll(async () => {
  folder = mkdtempSync('/tmp/quern-whole-');
  gnupg = new Gnupg();
  server = await serveFiles();
  world = makeWorld({ QUERN_MIRRORS: mirrorsTo(server) });
});
afterAll(async () => {
  gnupg.remove();
  world.remove();
  await server.close();
  rmSync(folder, { recursive: true, force: true });
});

it('is pinned without its gigabytes in memory, and is a kernel', async () => {
  const deb = await fetchPackage('linux-source-6.1', { release: 'bookworm' });
  const xz = join(folder, 'linux.tar.xz');
  sh('dpkg-deb --fsys-tarfile "$1" | tar -xO ./usr/src/linux-source-6.1.tar.xz >"$2"', deb, xz);
  const signer = gnupg.makeKey('releases@otter-bank.example');
  const sign = join(folder, 'linux.tar.sign');
  const home = `gpg --homedir ${gnupg.home} --batch --quiet --pinentry-mode loopback --passphrase ''`;
  sh(`xz -dc "$1" | ${home} --armor --detach-sign --output "$2"`, xz, sign);
  writeFileSync(join(world.folder, 'keys.asc'), gnupg.run(['--export', '--armor', signer]));
  server.on(pathAt('cdn', `${tarballName}.xz`), { body: readFileSync(xz) });
  server.on(pathAt('cdn', `${tarballName}.sign`), { body: readFileSync(sign) });
  // V8 gives memory back late: what counts is far below the 1.4 GB of the tar
  const before = process.memoryUsage.rss();
  let most = before;
  const watch = setInterval(() => (most = Math.max(most, process.memoryUsage.rss())), 50);
  const { value } = await pinRemote(
    world.host,
    {
      source: { kind: 'release', site: 'kernel.org', signers: [signer], keyring: 'keys.asc', keys: [] },
      version,
      keys: [],
    },
    (path) => Promise.resolve(join(world.folder, path)),
  );
  clearInterval(watch);
  expect(most - before).toBeLessThan(500e6);
  expect(value.signature?.signer).toBe(signer);
  const [sha256 = '', size] = sh('xz -dc "$1" | sha256sum; xz -dc "$1" | wc -c', xz)
    .split(/\s+-?\s*/u)
    .filter((word) => word !== '');
  expect(value.tar).toEqual({ sha256, size: Number(size) });
  const pack = await packOfArchive(world.host.store.path(value.sha256), value.tar.sha256, world.host.signal);
  expect(pack.files.size).toBeGreaterThan(1000);
}, 900_000);
