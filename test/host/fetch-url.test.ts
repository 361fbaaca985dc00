import { execFile, execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import { connect, type AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { buffer } from 'node:stream/consumers';
import { promisify } from 'node:util';

import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import { FetchError } from '../../src/host/fetch-error.ts';
import { fetchUrl } from '../../src/host/fetch-url.ts';
import { isLocalAddress, isLocalHost } from '../../src/host/local-address.ts';
import { parseNetrc } from '../../src/host/netrc.ts';
import { proxyFor } from '../../src/host/proxy.ts';
import { makeCertificate, type Certificate } from './certificate.ts';
import { serveFiles, type FileServer } from './file-server.ts';

const run = promisify(execFile);
const limits = { connect: 2000, stall: 300, pace: 1000, redirects: 3 };
const allowed = { QUERN_ALLOWED_HOSTS: '127.0.0.1' };

type Env = Readonly<Record<string, string>>;

let folder: string;
let certificate: Certificate;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'quern-fetch-'));
  certificate = makeCertificate(folder);
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

let server: FileServer;
const servers: { close(): unknown }[] = [];
beforeEach(async () => {
  server = await serveFiles();
  servers.push(server);
});
afterEach(async () => {
  for (const one of servers.splice(0)) await one.close();
});

async function get(url: string, env: Env = allowed): Promise<string> {
  const { chunks } = await fetchUrl({ env, signal: new AbortController().signal }, url, limits);
  return (await buffer(chunks)).toString();
}

async function faultOf(work: Promise<unknown>): Promise<FetchError> {
  const error = await work.then(
    () => undefined,
    (reason: unknown) => reason,
  );
  if (error instanceof FetchError) return error;
  throw new Error('it was to fail', { cause: error });
}

describe('where a URL may lead', () => {
  // The special-purpose registries of RFC 6890; 2130706433 and 0x7f.1 are spellings that the URL standard knows.
  it.each([
    ...['http://127.0.0.1/', 'http://127.9.9.9/', 'http://2130706433/', 'http://0x7f.1/', 'http://0/'],
    ...['http://[::1]/', 'http://[::]/', 'http://[::ffff:127.0.0.1]/', 'http://[64:ff9b::7f00:1]/'],
    ...['http://169.254.169.254/latest/', 'http://[fe80::1]/', 'http://localhost/', 'http://a.localhost./'],
  ])('not to this machine or its link: %s', async (url) => {
    expect(await faultOf(get(url, {}))).toMatchObject({ forbidden: true, transient: false });
  });

  it.each(['192.0.2.1', '10.0.0.1', '::ffff:192.0.2.1', '2001:db8::1', '126.255.255.255', '::2', 'otter'])(
    'to others: %s',
    (address) => expect(isLocalAddress(address)).toBe(false),
  );

  it('not to a name that resolves to this machine', async () => {
    // the one name for it that every machine knows, past the rule for names
    const name = execFileSync('hostname', { encoding: 'utf8' }).trim();
    const addresses = execFileSync('sh', ['-c', 'getent ahosts "$0" || true', name], { encoding: 'utf8' });
    const here = addresses.split('\n').some((line) => isLocalAddress(line.split(/\s/u)[0] ?? ''));
    const fault = await faultOf(get(`http://${name}:${server.port}/`, {}));
    if (here && !isLocalHost(name)) expect(fault.forbidden).toBe(true);
    expect(server.requests).toEqual([]);
  });

  it('not there by a redirect either, but where the machine allows it', async () => {
    const inner = await serveFiles();
    servers.push(inner);
    inner.on('/secret', { body: 'secret' });
    server.on('/a', { redirect: `http://localhost:${inner.port}/secret` });
    expect(await faultOf(get(`${server.url}/a`))).toMatchObject({ forbidden: true });
    expect(inner.requests).toEqual([]);
    expect(await get(`${server.url}/a`, { QUERN_ALLOWED_HOSTS: '127.0.0.1 localhost' })).toBe('secret');
    for (const written of [`127.0.0.1:${inner.port}`, 'otter-bank.example,127.0.0.1', '::1 127.0.0.1'])
      expect(await get(`${inner.url}/secret`, { QUERN_ALLOWED_HOSTS: written })).toBe('secret');
    await expect(get(`${inner.url}/secret`, { QUERN_ALLOWED_HOSTS: 'http://127.0.0.1/x' })).rejects.toThrow(
      'QUERN_ALLOWED_HOSTS has `http://127.0.0.1/x`, which is no host',
    );
    const mirrors = `http://deb.otter-bank.example/debian=${server.url}/debian http://x.example=http://localhost:1`;
    expect(await get(`${server.url}/a`, { QUERN_MIRRORS: mirrors })).toBe('secret');
  });

  it('not from https to http', async () => {
    const secure = await serveFiles(certificate);
    servers.push(secure);
    secure.on('/a', { redirect: 'http://gauge.otter-bank.example/a' });
    const env = { ...allowed, SSL_CERT_FILE: join(folder, 'cert.pem') };
    expect(await faultOf(get(`${secure.url}/a`, env))).toMatchObject({ forbidden: true });
  });

  it('not with a password in it, which is not shown', async () => {
    const fault = await faultOf(get(server.url.replace('//', '//otter:bank@')));
    expect(fault.message).toContain('NETRC');
    expect(fault.message).not.toContain('bank');
  });
});

describe('authorities', () => {
  it('are those of this machine, and those that it names', async () => {
    const secure = await serveFiles(certificate);
    servers.push(secure);
    secure.on('/a', { body: 'level 4.20 m' });
    expect((await faultOf(get(`${secure.url}/a`))).message).toMatch(/certificate .*SSL_CERT_FILE/u);
    const pem = join(folder, 'cert.pem');
    expect(await get(`${secure.url}/a`, { ...allowed, SSL_CERT_FILE: pem })).toBe('level 4.20 m');
    expect(await get(`${secure.url}/a`, { ...allowed, NODE_EXTRA_CA_CERTS: pem })).toBe('level 4.20 m');
    const none = get(`${secure.url}/a`, { ...allowed, SSL_CERT_FILE: join(folder, 'none.pem') });
    await expect(none).rejects.toThrow(/SSL_CERT_FILE names .* cannot be read/u);
  });
});

/** A proxy that notes what it was asked for, and connects to this machine whatever the host is called. */
async function startProxy(): Promise<{ readonly url: string; readonly asked: string[] }> {
  const asked: string[] = [];
  const proxy = createServer((request, response) => {
    asked.push(`${request.method} ${request.url} ${request.headers['proxy-authorization'] ?? ''}`.trim());
    response.end('by proxy');
  });
  proxy.on('connect', (request, socket) => {
    asked.push(`CONNECT ${request.url} ${request.headers['proxy-authorization'] ?? ''}`.trim());
    const far = connect(Number(/\d+$/u.exec(request.url ?? '')?.[0]), '127.0.0.1', () => {
      socket.write('HTTP/1.1 200 OK\r\n\r\n');
      socket.pipe(far).pipe(socket);
    });
    far.on('error', () => socket.destroy());
    socket.on('error', () => far.destroy());
  });
  await new Promise<void>((resolve) => proxy.listen(0, '127.0.0.1', resolve));
  servers.push(proxy);
  const { port } = proxy.address() as AddressInfo;
  return { url: `http://127.0.0.1:${port}`, asked };
}

describe('a proxy', () => {
  it('is asked for the whole URL of http, and for a tunnel for https', async () => {
    const proxy = await startProxy();
    const secure = await serveFiles(certificate);
    servers.push(secure);
    secure.on('/a', { body: 'through' });
    const login = proxy.url.replace('//', '//otter:b%40nk@');
    const env = { http_proxy: login, HTTPS_PROXY: proxy.url, SSL_CERT_FILE: join(folder, 'cert.pem') };
    expect(await get('http://gauge.otter-bank.example/level?of=pier', env)).toBe('by proxy');
    expect(await get(`https://pier.otter-bank.example:${secure.port}/a`, env)).toBe('through');
    expect(secure.headers[0]?.host).toBe(`pier.otter-bank.example:${secure.port}`);
    const sent = Buffer.from('otter:b@nk').toString('base64');
    expect(proxy.asked).toEqual([
      `GET http://gauge.otter-bank.example/level?of=pier Basic ${sent}`,
      `CONNECT pier.otter-bank.example:${secure.port}`,
    ]);
    // the certificate counts in the tunnel as well
    const { SSL_CERT_FILE: _, ...untrusting } = env;
    expect(
      (await faultOf(get(`https://pier.otter-bank.example:${secure.port}/a`, untrusting))).message,
    ).toContain('certificate');
  });

  it('that cannot be one is said, without its password', () => {
    const wrong = (): unknown =>
      proxyFor({ https_proxy: 'socks5://a:secret@b' }, new URL('https://c.example/'));
    expect(wrong).toThrow(Failure);
    expect(wrong).toThrow(/^(?!.*secret).*HTTPS_PROXY/u);
  });

  // curl is the referee: what it asks the proxy for, we do.
  it.each([
    ['', 'gauge.otter-bank.example'],
    ['otter-bank.example', 'gauge.otter-bank.example'],
    ['.otter-bank.example', 'gauge.otter-bank.example'],
    ['bank.example', 'otter-bank.example'],
    ['OTTER-BANK.example', 'otter-bank.example'],
    ['a.example, otter-bank.example', 'otter-bank.example'],
    ['*', 'otter-bank.example'],
    ['gauge.otter-bank.example', 'otter-bank.example'],
    ['192.0.2.1', '192.0.2.1'],
    ['192.0.2.1', '192.0.2.11'],
  ])('is not asked for what stands in NO_PROXY=%s: %s', async (list, host) => {
    const proxy = await startProxy();
    const url = `http://${host}:1/`;
    const env = { http_proxy: proxy.url, no_proxy: list };
    await run('curl', ['-s', '-m', '1', '--resolve', `${host}:1:127.0.0.1`, url], { env }).catch(
      () => undefined,
    );
    expect(proxyFor(env, new URL(url)) !== undefined).toBe(proxy.asked.length > 0);
  });
});

describe('logins', () => {
  const netrc = `# of the station
machine 127.0.0.1 login otter password bank # not this
macdef init
machine localhost login macro

machine localhost
  password "pier"
  login gauge
default login anybody password anything
`;
  const at = (): string => join(folder, 'netrc');
  beforeEach(() => writeFileSync(at(), netrc));

  it('go to their own host alone, also after a redirect, and only where nobody can read them', async () => {
    const other = await serveFiles();
    servers.push(other);
    other.on('/b', { body: 'far' });
    server.on('/a', { redirect: `http://localhost:${other.port}/b` });
    const env = { NETRC: at(), QUERN_ALLOWED_HOSTS: '127.0.0.1 localhost' };
    writeFileSync(at(), 'machine 127.0.0.1 login otter password bank\n');
    expect(await get(`${server.url}/a`, env)).toBe('far');
    expect(server.headers[0]?.authorization).toBe(`Basic ${Buffer.from('otter:bank').toString('base64')}`);
    expect(other.headers[0]?.authorization).toBeUndefined();
    const proxy = await startProxy();
    const http = { http_proxy: proxy.url, NETRC: at() };
    writeFileSync(at(), 'machine gauge.otter-bank.example login otter password bank\n');
    expect(await get('http://gauge.otter-bank.example/', http)).toBe('by proxy');
  });

  it('are read as others read them', async () => {
    const logins = parseNetrc(netrc);
    expect(logins.get('127.0.0.1')).toEqual({ user: 'otter', password: 'bank' });
    expect([...logins.keys()]).toEqual(['127.0.0.1', 'localhost']);
    // curl is the referee for a file without what it reads otherwise than ftp(1)
    writeFileSync(
      at(),
      'machine a.example login x password y\nmachine 127.0.0.1\n\tlogin otter\n\tpassword bank\n',
    );
    server.on('/', { body: '' });
    await run('curl', ['-s', '--netrc-file', at(), `${server.url}/`]);
    await get(`${server.url}/`, { ...allowed, NETRC: at() });
    expect(server.headers[1]?.authorization).toBe(server.headers[0]?.authorization);
    expect(server.headers[0]?.authorization).toBeDefined();
  });
});

describe('a server that is slow', () => {
  it('is given up when it sends a byte now and then', async () => {
    server.on('/a', { drips: Buffer.from('x'), every: 50 });
    const fault = await faultOf(get(`${server.url}/a`));
    expect(fault).toMatchObject({ transient: true });
    expect(fault.message).toBe('it sends less than 1000 bytes in a second');
  });

  it('is not, when it is the reader who is slow', async () => {
    server.on('/a', { body: 'x'.repeat(100) });
    const { chunks } = await fetchUrl(
      { env: allowed, signal: new AbortController().signal },
      `${server.url}/a`,
      limits,
    );
    await new Promise((resolve) => setTimeout(resolve, 400));
    expect((await buffer(chunks)).length).toBe(100);
  });
});
