/**
 * Images in a real registry on this machine (Debian's docker-registry), over servers that lie where a test says so.
 * `skopeo` is asked for the same digests.
 */
import { execFile, execFileSync } from 'node:child_process';
import { generateKeyPairSync, sign } from 'node:crypto';
import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer, type IncomingMessage, type ServerResponse } from 'node:http';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { promisify } from 'node:util';

import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import type { Diagnostic } from '../../src/diagnostics/diagnostic.ts';
import { fetchImage } from '../../src/source/fetch-image.ts';
import { pinImage } from '../../src/source/pin-image.ts';
import { makeWorld, type World } from '../container/world.ts';
import {
  deleteManifest,
  pushBlob,
  pushManifest,
  startRegistry,
  type TestRegistry,
} from '../oracle/registry.ts';
import { otterSystem, pushImage, pushIndex } from './otter-image.ts';

const run = promisify(execFile);
const quick = { pauses: [5, 5] };

let registry: TestRegistry;
beforeAll(async () => {
  registry = await startRegistry();
});
afterAll(() => registry.stop());

let world: World;
const closers: (() => unknown)[] = [];
beforeEach(() => {
  world = makeWorld();
});
afterEach(async () => {
  world.remove();
  for (const close of closers.splice(0)) await close();
});

async function faultOf(work: Promise<unknown>): Promise<Diagnostic> {
  const error = await work.then(
    () => undefined,
    (reason: unknown) => reason,
  );
  const [first] = error instanceof Failure ? error.diagnostics : [];
  if (!first) throw new Error('it was to fail', { cause: error });
  return first;
}

const hex = (digest: string): string => digest.slice('sha256:'.length);
const reversed = (bytes: Uint8Array): Buffer => Buffer.from(bytes).reverse();

/** The digest that skopeo finds for a reference. */
async function skopeoDigest(reference: string): Promise<string> {
  const words = ['inspect', '--tls-verify=false', '--override-os', 'linux', '--override-arch', 'amd64'];
  const { stdout } = await run('skopeo', [...words, '--format', '{{.Digest}}', `docker://${reference}`]);
  return stdout.trim();
}

describe('a reference', () => {
  it.each(['oci', 'docker'] as const)(
    'of an image (%s) becomes digests, as skopeo finds them',
    async (format) => {
      const shape = { layers: [otterSystem, { 'etc/gauge': 'north pier' }], format };
      const pushed = await pushImage(registry.url, `gauge/${format}`, '7', shape);
      const pin = await pinImage(world.host, `${registry.host}/gauge/${format}:7`, 'amd64', quick);
      expect(pin).toMatchObject({
        registry: registry.host,
        repository: `gauge/${format}`,
        tag: '7',
        manifest: hex(pushed.digest),
        architecture: 'amd64',
        layers: pushed.layers.map(({ digest, size }) => ({ sha256: hex(digest), size, compression: 'gzip' })),
      });
      expect(pin).not.toHaveProperty('index');
      expect(`sha256:${pin.manifest}`).toBe(await skopeoDigest(`${registry.host}/gauge/${format}:7`));
      await fetchImage(world.host, pin, quick);
      for (const { sha256 } of pin.layers) expect(await world.host.store.has(sha256)).toBe(true);
      // nobody is asked when all is there
      await fetchImage(world.host, { ...pin, registry: '127.0.0.1:1' }, quick);
    },
  );

  it.each(['oci', 'docker'] as const)(
    'of a list (%s) leads to the manifest of the platform',
    async (format) => {
      const repository = `pier/${format}`;
      const shape = { layers: [otterSystem], format };
      const other = await pushImage(registry.url, repository, 'arm64', { ...shape, architecture: 'arm64' });
      const own = await pushImage(registry.url, repository, 'amd64', shape);
      const list = await pushIndex(
        registry.url,
        repository,
        'latest',
        [
          { ...other, os: 'linux', architecture: 'arm64' },
          { ...own, os: 'linux', architecture: 'amd64' },
        ],
        format,
      );
      const pin = await pinImage(world.host, `${registry.host}/${repository}`, 'amd64', quick);
      expect(pin).toMatchObject({ tag: 'latest', index: hex(list.digest), manifest: hex(own.digest) });
      const byDigest = await pinImage(
        world.host,
        `${registry.host}/${repository}@${list.digest}`,
        'amd64',
        quick,
      );
      expect({ ...byDigest, tag: 'latest' }).toEqual(pin);
      const report = await faultOf(pinImage(world.host, `${registry.host}/${repository}`, 'riscv64', quick));
      expect(report).toMatchObject({ code: 'registry/other-platform', exit: 2 });
      expect(report.notes).toEqual(['It is made for linux/arm64, linux/amd64.']);
    },
  );

  it('of an image for other machines is refused', async () => {
    await pushImage(registry.url, 'other', 'arm', { layers: [otterSystem], architecture: 'arm64' });
    const report = await faultOf(pinImage(world.host, `${registry.host}/other:arm`, 'amd64', quick));
    expect(report).toMatchObject({ code: 'registry/other-platform', exit: 2 });
  });

  it.each(['missing:7', 'gauge/oci:missing', `gauge/oci@sha256:${'0'.repeat(64)}`])(
    'to nothing: %s',
    async (name) => {
      const report = await faultOf(pinImage(world.host, `${registry.host}/${name}`, 'amd64', quick));
      expect(report).toMatchObject({ code: 'registry/no-such-image', exit: 3 });
      expect(report.help).toContain('environment.image');
    },
  );
});

describe('a tag that moved', () => {
  it('is told of by who wrote the digest beside it', async () => {
    const before = await pushImage(registry.url, 'moving', 'week', { layers: [otterSystem] });
    const name = `${registry.host}/moving:week@${before.digest}`;
    expect((await pinImage(world.host, name, 'amd64', quick)).manifest).toBe(hex(before.digest));
    const after = await pushImage(registry.url, 'moving', 'week', { layers: [otterSystem, { new: '1' }] });
    const report = await faultOf(pinImage(world.host, name, 'amd64', quick));
    expect(report).toMatchObject({ code: 'registry/moved', exit: 4 });
    expect(report.notes).toEqual([`The spec has ${before.digest}.`, `The tag leads to ${after.digest}.`]);
    // by its digest alone it is still to be had
    const alone = await pinImage(world.host, `${registry.host}/moving@${before.digest}`, 'amd64', quick);
    expect(alone.manifest).toBe(hex(before.digest));
  });

  it('is no matter to what was pinned, until the registry forgets that', async () => {
    const before = await pushImage(registry.url, 'forgetful', 'week', { layers: [otterSystem] });
    const pin = await pinImage(world.host, `${registry.host}/forgetful:week`, 'amd64', quick);
    const after = await pushImage(registry.url, 'forgetful', 'week', { layers: [{ new: '2' }] });
    const early = makeWorld();
    await fetchImage(early.host, pin, quick);
    early.remove();
    await deleteManifest(registry.url, 'forgetful', before.digest);
    const report = await faultOf(fetchImage(world.host, pin, quick));
    expect(report).toMatchObject({ code: 'registry/moved', exit: 4 });
    expect(report.notes).toEqual([`Pinned: ${before.digest}.`, `The tag leads to ${after.digest}.`]);
    expect(report.help).toContain('quern pin --refresh packages');
    await deleteManifest(registry.url, 'forgetful', after.digest);
    expect(await faultOf(fetchImage(world.host, pin, quick))).toMatchObject({
      code: 'registry/no-such-image',
    });
  });
});

type Change = (request: IncomingMessage, response: ServerResponse, body: Buffer) => boolean;

interface Between {
  readonly host: string;
  readonly seen: readonly { readonly url: string; readonly authorization: string | undefined }[];
}

/** Stands between us and the registry. @param change whether it has answered itself */
async function between(change: Change, behind = registry.url): Promise<Between> {
  const seen: { url: string; authorization: string | undefined }[] = [];
  const server = createServer((request, response) => {
    seen.push({ url: request.url ?? '', authorization: request.headers.authorization });
    const headers = Object.fromEntries(
      (['accept', 'authorization', 'range'] as const).flatMap((name) =>
        request.headers[name] === undefined ? [] : [[name, request.headers[name]]],
      ),
    );
    void fetch(`${behind}${request.url}`, { headers, redirect: 'manual' }).then(async (answer) => {
      const body = Buffer.from(await answer.arrayBuffer());
      for (const name of ['content-type', 'docker-content-digest', 'www-authenticate', 'location']) {
        const value = answer.headers.get(name);
        if (value !== null) response.setHeader(name, value);
      }
      response.statusCode = answer.status;
      if (!change(request, response, body)) response.end(body);
    });
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  closers.push(() => {
    server.closeAllConnections();
    server.close();
  });
  return { host: `127.0.0.1:${(server.address() as AddressInfo).port}`, seen };
}

describe('a registry that lies or fails', () => {
  let image: Awaited<ReturnType<typeof pushImage>>;
  beforeAll(async () => {
    image = await pushImage(registry.url, 'base', '7', { layers: [otterSystem] });
  });
  const about =
    (part: string, answer: (response: ServerResponse, body: Buffer) => unknown): Change =>
    ({ url }, response, body) => {
      if (!url?.includes(part)) return false;
      answer(response, body);
      return true;
    };

  it.each<[string, Change, Partial<Diagnostic>]>([
    [
      'another manifest under the same digest',
      about('/manifests/', (response, body) => response.end(`${body.toString()} `)),
      { code: 'registry/altered', exit: 4 },
    ],
    [
      'a manifest larger than any',
      about('/manifests/', (response) => response.end(Buffer.alloc((4 << 20) + 1, ' '))),
      { code: 'registry/bad-answer', exit: 4 },
    ],
    [
      'another configuration',
      about('/blobs/', (response, body) => response.end(reversed(body))),
      { code: 'registry/altered', exit: 4 },
    ],
    [
      'a web page',
      about('/manifests/', (response) => {
        response.removeHeader('docker-content-digest');
        response.setHeader('content-type', 'text/html');
        response.end('<html>log in</html>');
      }),
      { code: 'registry/bad-answer', exit: 4 },
    ],
    [
      'failures without end',
      about('/manifests/', (response) => response.writeHead(503).end()),
      { code: 'registry/unreachable', exit: 3 },
    ],
    [
      'a way to tell who asks that nobody knows',
      about('/manifests/', (response) => response.writeHead(401, { 'www-authenticate': 'Negotiate' }).end()),
      { code: 'registry/unauthorised', exit: 3 },
    ],
    [
      'a request to come back tomorrow',
      about('/manifests/', (response) => response.writeHead(429, { 'retry-after': '86400' }).end()),
      { code: 'registry/unreachable', exit: 3 },
    ],
  ])('%s', async (_, change, expected) => {
    const { host } = await between(change);
    expect(await faultOf(pinImage(world.host, `${host}/base:7`, 'amd64', quick))).toMatchObject(expected);
  });

  it('is asked again when it is busy, and no sooner than it says', async () => {
    let count = 0;
    const { host } = await between(({ url }, response) => {
      count += url?.includes('/manifests/') ? 1 : 0;
      if (count !== 1) return false;
      response.writeHead(429, { 'retry-after': '1' }).end();
      return true;
    });
    const start = performance.now();
    const pin = await pinImage(world.host, `${host}/base:7`, 'amd64', quick);
    expect(pin.manifest).toBe(hex(image.digest));
    expect(performance.now() - start).toBeGreaterThan(990);
  });

  const pinned = async (change: Change): Promise<Diagnostic> => {
    const pin = await pinImage(world.host, `${registry.host}/base:7`, 'amd64', quick);
    const { host } = await between(change);
    const report = await faultOf(fetchImage(world.host, { ...pin, registry: host }, quick));
    // nothing of it is left
    expect(readdirSync(world.host.store.folder).filter((name) => !name.startsWith('.'))).toEqual([]);
    return report;
  };

  it('another layer', async () => {
    const report = await pinned(about('/blobs/', (response, body) => response.end(reversed(body))));
    expect(report).toMatchObject({ code: 'host/wrong-digest', exit: 4 });
    expect(report.message).toBe('layer 1 of base is not the file that was pinned');
  });

  it('a layer without end', async () => {
    let sent = 0;
    const report = await pinned(
      about('/blobs/', (response, body) => {
        response.write(body);
        const more = (): void => {
          while (!response.destroyed && response.write(Buffer.alloc(1 << 16))) sent += 1 << 16;
          if (!response.destroyed) response.once('drain', more);
        };
        more();
      }),
    );
    expect(report).toMatchObject({ code: 'host/wrong-digest', exit: 4 });
    expect(sent).toBeLessThan(64 << 20);
  });

  it('has its blobs elsewhere, where no login goes along', async () => {
    const pin = await pinImage(world.host, `${registry.host}/base:7`, 'amd64', quick);
    const elsewhere = await between(() => false);
    const { host, seen } = await between(({ url, headers }, response) => {
      if (headers.authorization === undefined)
        response.writeHead(401, { 'www-authenticate': 'Basic realm="pier"' }).end();
      else if (url?.includes('/blobs/'))
        response.writeHead(307, { location: `http://${elsewhere.host}${url}` }).end();
      else return false;
      return true;
    });
    const auth = Buffer.from('otter:fish').toString('base64');
    const env = { DOCKER_AUTH_CONFIG: JSON.stringify({ auths: { [host]: { auth } } }) };
    const other = makeWorld(env);
    closers.push(() => other.remove());
    await fetchImage(other.host, { ...pin, registry: host }, quick);
    expect(seen.filter(({ authorization }) => authorization === `Basic ${auth}`).length).toBeGreaterThan(1);
    expect(elsewhere.seen.map(({ authorization }) => authorization)).toEqual([undefined]);
  });

  it('is on this machine, which a spec alone does not allow', async () => {
    const closed = makeWorld({ QUERN_ALLOWED_HOSTS: '' });
    closers.push(() => closed.remove());
    const report = await faultOf(pinImage(closed.host, `${registry.host}/base:7`, 'amd64', quick));
    expect(report).toMatchObject({ code: 'host/forbidden-target', exit: 4 });
    expect(report.help).toContain('QUERN_ALLOWED_HOSTS');
  });

  it('is reached by the name of another, where the machine says so', async () => {
    const mirrored = makeWorld({ QUERN_MIRRORS: `https://pier.otter-bank.example=${registry.url}` });
    closers.push(() => mirrored.remove());
    const pin = await pinImage(mirrored.host, 'pier.otter-bank.example/base:7', 'amd64', quick);
    expect(pin).toMatchObject({ registry: 'pier.otter-bank.example', manifest: hex(image.digest) });
  });

  it.each<[string, (manifest: Record<string, unknown>) => Record<string, unknown>, string]>([
    ['of the old format', () => ({ schemaVersion: 1 }), 'schema 1'],
    ['that is a list as well', (one) => ({ ...one, manifests: [] }), 'at once'],
    ['of another kind than told', (one) => ({ ...one, mediaType: 'x' }), 'calls itself "x"'],
    ['without layers', (one) => ({ ...one, layers: [] }), 'no layer'],
    [
      'with a layer from elsewhere',
      (one) => ({
        ...one,
        layers: [
          {
            mediaType: 'application/vnd.docker.image.rootfs.foreign.diff.tar.gzip',
            digest: `sha256:${'0'.repeat(64)}`,
            size: 1,
          },
        ],
      }),
      'foreign',
    ],
    [
      'with layers beyond reason',
      (one) => ({ ...one, layers: [{ mediaType: 'x', digest: `sha256:${'0'.repeat(64)}`, size: 2 ** 50 }] }),
      'so large',
    ],
  ])('a manifest %s', async (_, change, why) => {
    const { host } = await between(
      about('/manifests/', (response, body) => {
        response.removeHeader('docker-content-digest');
        response.end(JSON.stringify(change(JSON.parse(body.toString()) as Record<string, unknown>)));
      }),
    );
    const report = await faultOf(pinImage(world.host, `${host}/base:7`, 'amd64', quick));
    expect(report).toMatchObject({ code: 'registry/bad-answer', exit: 4 });
    expect(report.message).toContain(why);
  });

  it('whose configuration has other layers', async () => {
    const config = await pushBlob(
      registry.url,
      'odd',
      Buffer.from(
        JSON.stringify({ os: 'linux', architecture: 'amd64', rootfs: { type: 'layers', diff_ids: [] } }),
      ),
    );
    const layer = await pushBlob(registry.url, 'odd', Buffer.from('x'));
    const oci = 'application/vnd.oci.image';
    await pushManifest(registry.url, 'odd', '1', {
      schemaVersion: 2,
      mediaType: `${oci}.manifest.v1+json`,
      config: { mediaType: `${oci}.config.v1+json`, ...config },
      layers: [{ mediaType: `${oci}.layer.v1.tar`, ...layer }],
    } as { mediaType: string });
    const report = await faultOf(pinImage(world.host, `${registry.host}/odd:1`, 'amd64', quick));
    expect(report).toMatchObject({ code: 'registry/bad-answer' });
  });
});

describe('a registry that wants to know who asks', () => {
  let folder: string;
  beforeAll(async () => {
    folder = mkdtempSync(join(tmpdir(), 'quern-login-'));
    await pushImage(registry.url, 'private/base', '7', { layers: [otterSystem] });
  });
  afterAll(() => rmSync(folder, { recursive: true, force: true }));

  const login = (host: string, user = 'otter', password = 'fish'): string => {
    const home = mkdtempSync(join(folder, 'home-'));
    const auth = Buffer.from(`${user}:${password}`).toString('base64');
    writeFileSync(join(home, 'config.json'), JSON.stringify({ auths: { [host]: { auth } } }));
    return home;
  };
  const as = async (host: string, env: Readonly<Record<string, string>>): Promise<Diagnostic | string> => {
    const one = makeWorld({ HOME: '/nowhere', ...env });
    closers.push(() => one.remove());
    try {
      const pin = await pinImage(one.host, `${host}/private/base:7`, 'amd64', quick);
      await fetchImage(one.host, pin, quick);
      return pin.manifest;
    } catch (error) {
      const [first] = error instanceof Failure ? error.diagnostics : [];
      if (!first) throw error;
      expect(JSON.stringify(first)).not.toContain('fish');
      return first;
    }
  };

  it('by a password (htpasswd)', async () => {
    const htpasswd = join(folder, 'htpasswd');
    writeFileSync(htpasswd, execFileSync('htpasswd', ['-nbB', 'otter', 'fish']));
    const closed = await startRegistry(
      `auth: { htpasswd: { realm: pier, path: '${htpasswd}' } }`,
      registry.folder,
    );
    closers.push(() => closed.stop());
    const { host } = closed;
    const nobody = await as(host, {});
    expect(nobody).toMatchObject({ code: 'registry/unauthorised', exit: 3 });
    expect(await as(host, { DOCKER_CONFIG: login(host, 'otter', 'wrong-fish') })).toMatchObject({
      code: 'registry/unauthorised',
      notes: expect.arrayContaining(['It was asked as `otter`.']) as unknown,
    });
    expect(await as(host, { DOCKER_CONFIG: login(host) })).toMatch(/^[0-9a-f]{64}$/u);
    expect(await as(host, { DOCKER_CONFIG: login(`https://${host}/v1/`) })).toMatch(/^[0-9a-f]{64}$/u);
    expect(await as(host, { REGISTRY_AUTH_FILE: join(login(`${host}/private`), 'config.json') })).toMatch(
      /^[0-9a-f]{64}$/u,
    );
    // one for another place is not told
    expect(await as(host, { DOCKER_CONFIG: login('pier.otter-bank.example') })).toMatchObject({
      code: 'registry/unauthorised',
    });
    expect(await as(host, { DOCKER_CONFIG: login(`${host}/other`) })).toMatchObject({
      code: 'registry/unauthorised',
    });
    // where the usual file is
    const home = mkdtempSync(join(folder, 'home-'));
    mkdirSync(join(home, '.docker'));
    writeFileSync(join(home, '.docker', 'config.json'), readFileSync(join(login(host), 'config.json')));
    expect(await as(host, { HOME: home })).toMatch(/^[0-9a-f]{64}$/u);
  });

  it('by a token, which a service elsewhere hands out', async () => {
    const tokens = await startTokens(folder);
    closers.push(() => tokens.close());
    const closed = await startRegistry(tokens.configuration, registry.folder);
    closers.push(() => closed.stop());
    const { host } = closed;
    expect(await as(host, {})).toMatchObject({ code: 'registry/unauthorised', exit: 3 });
    expect(tokens.asked).toEqual([
      { scope: 'repository:private/base:pull', service: 'pier', login: undefined },
    ]);
    expect(await as(host, { DOCKER_CONFIG: login(host) })).toMatch(/^[0-9a-f]{64}$/u);
    // one token serves for all
    expect(tokens.asked.slice(1).map((one) => one.login)).toEqual(['otter:fish', 'otter:fish']);
    // a login that is only for this registry is told to no service over a line that others can listen to
    const unsafe = await between(({ headers }, response) => {
      if (headers.authorization !== undefined) return false;
      response
        .writeHead(401, { 'www-authenticate': 'Bearer realm="http://pier.otter-bank.example/token"' })
        .end();
      return true;
    });
    expect(await as(unsafe.host, { DOCKER_CONFIG: login(unsafe.host) })).toMatchObject({
      code: 'host/forbidden-target',
    });
  });

  it('is told nothing of a file that cannot be read', async () => {
    const broken = await as(registry.host, { DOCKER_AUTH_CONFIG: '{"auths": {"x": {"auth": "fish' });
    expect(broken).toMatchObject({ code: 'host/bad-setting', exit: 2 });
  });
});

interface Tokens {
  readonly configuration: string;
  readonly asked: readonly {
    readonly scope: string;
    readonly service: string;
    readonly login: string | undefined;
  }[];
  close(): void;
}

/** A token service as the registry's documents describe it (docs/spec/auth/jwt.md): who has no login gets an empty token. */
async function startTokens(folder: string): Promise<Tokens> {
  const { privateKey } = generateKeyPairSync('rsa', {
    modulusLength: 2048,
    publicKeyEncoding: { type: 'spki', format: 'pem' },
    privateKeyEncoding: { type: 'pkcs8', format: 'pem' },
  });
  writeFileSync(join(folder, 'key.pem'), privateKey);
  const files = ['-key', join(folder, 'key.pem'), '-out', join(folder, 'cert.pem')];
  execFileSync('openssl', ['req', '-x509', '-new', '-days', '2', '-subj', '/CN=otter-tokens', ...files]);
  const certificate = readFileSync(join(folder, 'cert.pem'), 'utf8').replace(/-----.*-----|\n/gu, '');
  const encode = (value: object): string => Buffer.from(JSON.stringify(value)).toString('base64url');
  const asked: { scope: string; service: string; login: string | undefined }[] = [];
  const server = createServer(({ url = '', headers }, response) => {
    const query = new URL(url, 'http://x').searchParams;
    const login =
      headers.authorization === undefined
        ? undefined
        : Buffer.from(headers.authorization.replace('Basic ', ''), 'base64').toString();
    const [scope, service] = [query.get('scope') ?? '', query.get('service') ?? ''];
    asked.push({ scope, service, login });
    const [type, name, actions = ''] = scope.split(':');
    const access = login === 'otter:fish' ? [{ type, name, actions: actions.split(',') }] : [];
    const now = Math.floor(Date.now() / 1000);
    const head = encode({ typ: 'JWT', alg: 'RS256', x5c: [certificate] });
    const claims = encode({
      iss: 'otter-tokens',
      sub: 'otter',
      aud: service,
      exp: now + 300,
      nbf: now - 5,
      iat: now,
      jti: '1',
      access,
    });
    const signature = sign('sha256', Buffer.from(`${head}.${claims}`), privateKey).toString('base64url');
    response.end(JSON.stringify({ token: `${head}.${claims}.${signature}`, expires_in: 300 }));
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const { port } = server.address() as AddressInfo;
  const settings = `realm: 'http://127.0.0.1:${port}/token', service: pier, issuer: otter-tokens, rootcertbundle: '${join(folder, 'cert.pem')}'`;
  return { configuration: `auth: { token: { ${settings} } }`, asked, close: () => server.close() };
}
