/** The fetch step of a kit, with real curl and wget against a server on this machine. */
import { chmodSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { createServer, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { inputs, sha256 } from './fixture.ts';
import { makeCertificate } from '../host/certificate.ts';
import { serveFiles } from '../host/file-server.ts';
import {
  fixtureInputs,
  layArtefacts,
  makeWorkbench,
  programsBut,
  smallShell,
  type Ended,
  type Workbench,
} from './workbench.ts';

let bench: Workbench;
let server: Server;
/** Path on the server to what it answers: a text, or a status. */
let answersOf: Map<string, string | number>;
let asked: string[];
let base: string;

const pool = new Map([
  ['pool/main/l/linux/linux-source-6.1_6.1.192-2_all.deb', 'source'],
  ['pool/main/d/dash/dash_0.5.12-2_amd64.deb', 'dash'],
  ['pool/main/g/gcc/gcc_12.2.0-3%2Bb1_amd64.deb', 'gcc'],
]);
const gcc = 'pool/main/g/gcc/gcc_12.2.0-3%2Bb1_amd64.deb';

beforeEach(async () => {
  answersOf = new Map();
  asked = [];
  for (const [path, content] of pool) {
    answersOf.set(`/first/${path}`, content);
    answersOf.set(`/second/${path}`, content);
  }
  server = createServer((request, response) => {
    const path = request.url ?? '';
    asked.push(path);
    const answer = answersOf.get(path) ?? 404;
    if (typeof answer === 'number') response.writeHead(answer).end('gone');
    else response.writeHead(200, { 'content-length': Buffer.byteLength(answer) }).end(answer);
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const { port } = server.address() as AddressInfo;
  base = `http://127.0.0.1:${port}`;
  bench = await makeWorkbench(() => ({
    origins: { debian: { url: `${base}/first`, snapshot: `${base}/second` } },
  }));
});
afterEach(() => {
  server.close();
  bench.remove();
});

const clients: readonly (readonly [string, readonly string[], readonly string[]])[] = [
  ['curl', ['wget'], ['sh']],
  ['wget', ['curl'], ['sh']],
  ['the wget of a small system', ['curl', 'wget'], smallShell],
];

describe.each(clients)('with %s', (_, hidden, shell) => {
  const fetch = (env: Record<string, string> = {}): Promise<Ended> =>
    bench.run(['fetch'], { shell, env: { PATH: programsBut(bench, hidden), ...env } });

  const expectInputs = (names: readonly string[]): void => {
    expect(readdirSync(bench.path('kit/inputs')).sort()).toEqual([...names].sort());
    for (const name of names) {
      expect(readFileSync(bench.path('kit/inputs', name), 'utf8')).toBe(fixtureInputs.get(name));
    }
  };
  const all = [...fixtureInputs.keys()];
  const allButGcc = all.filter((name) => !name.startsWith('gcc'));

  it('brings what is missing and leaves the rest', async () => {
    mkdirSync(bench.path('kit/inputs'));
    bench.write('kit/inputs/dash_0.5.12-2_amd64.deb', 'dash');
    bench.write('kit/inputs/gcc_12.2.0-3+b1_amd64.deb', 'half of it');
    const ran = await fetch();
    expect(ran.stderr).toBe('');
    expect(ran.status).toBe(0);
    expect(asked.filter((path) => path.includes('dash'))).toEqual([]);
    expectInputs(all);
  });

  it('asks the second place when the first no longer has a file', async () => {
    answersOf.set(`/first/${gcc}`, 404);
    expect((await fetch()).status).toBe(0);
    expect(asked.slice(-2)).toEqual([`/first/${gcc}`, `/second/${gcc}`]);
    expectInputs(all);
  });

  it('takes the right file of the second place when the first has another, and says so', async () => {
    answersOf.set(`/first/${gcc}`, 'bad');
    const ran = await fetch();
    expect(ran.status).toBe(0);
    expect(ran.stderr).toContain(
      `${base}/first/${gcc} is not the file that was pinned (SHA-256 ${sha256('gcc')})`,
    );
    expectInputs(all);
  });

  it('ends with 4 when every place has another file, and keeps none of them', async () => {
    answersOf.set(`/first/${gcc}`, 'bad');
    answersOf.set(`/second/${gcc}`, 'bad');
    const ran = await fetch();
    expect(ran.stderr).toMatch(/^run\.sh: no place has the pinned gcc_12/mu);
    expect(ran.status).toBe(4);
    expectInputs(allButGcc);
  });

  it('ends with 3 when no place has it, also when another input was wrong in one place', async () => {
    answersOf.set('/first/pool/main/d/dash/dash_0.5.12-2_amd64.deb', 'bad');
    answersOf.set(`/first/${gcc}`, 404);
    answersOf.set(`/second/${gcc}`, 404);
    const ran = await fetch();
    expect(ran.stderr).toMatch(/^run\.sh: gcc_12\S* cannot be fetched$/mu);
    expect(ran.status).toBe(3);
    expectInputs(allButGcc);
  });

  it('goes where QUERN_MIRRORS sends it, and expands nothing of that', async () => {
    for (const path of pool.keys()) answersOf.set(`/near/*/${path}`, answersOf.get(`/first/${path}`) ?? 404);
    // what the star would find here
    mkdirSync(bench.path(`${base}/first=${base}/near/hit`), { recursive: true });
    // the longest beginning counts, wherever it stands
    const pairs = [`${base}=${base}/far`, 'http://other.example=x', `${base}/first=${base}/near/*`];
    const ran = await fetch({ QUERN_MIRRORS: pairs.join(' ') });
    expect(ran.stderr).toBe('');
    expect(ran.status).toBe(0);
    expect(asked.every((path) => path.startsWith('/near/*/'))).toBe(true);
    expect(asked).toHaveLength(3);
    expectInputs(all);
  });
});

it('builds from what it has just fetched', async () => {
  layArtefacts(bench);
  bench.write('state/image', '');
  const ran = await bench.run(['-o', bench.path('artefacts')]);
  expect(ran.stderr).toBe('');
  expect(ran.status).toBe(0);
  expect(readFileSync(bench.path('artefacts/bzImage'), 'utf8')).toBe('image');
});

describe("the machine's logins", () => {
  const secret = 'machine 127.0.0.1 login gauge password level\n';
  const logins = async (netrc: string): Promise<readonly (string | undefined)[]> => {
    const certificate = makeCertificate(bench.folder);
    const secure = await serveFiles(certificate);
    try {
      for (const [path, body] of pool) secure.on(`/${decodeURIComponent(path)}`, { body });
      bench.write('netrc', netrc);
      const env = {
        PATH: programsBut(bench, ['wget']),
        NETRC: bench.path('netrc'),
        CURL_CA_BUNDLE: certificate.file,
        QUERN_MIRRORS: `${base}/first=${secure.url}`,
      };
      const ran = await bench.run(['fetch'], { env });
      expect(ran.stderr).toBe('');
      expect(readdirSync(bench.path('kit/inputs')).filter((name) => name.includes('logins'))).toEqual([]);
      return secure.headers.map(({ authorization }) => authorization);
    } finally {
      await secure.close();
    }
  };

  it('go where they are for, and to nobody who only asks', async () => {
    const basic = `Basic ${Buffer.from('gauge:level').toString('base64')}`;
    expect(await logins(`${secret}default login any password secret\n`)).toEqual([basic, basic, basic]);
  });

  it('do not go elsewhere', async () => {
    expect(await logins('default login any password secret\n')).toEqual([undefined, undefined, undefined]);
  });

  it('do not go in the clear', async () => {
    const heads: (string | undefined)[] = [];
    server.on('request', ({ headers }) => heads.push(headers.authorization));
    bench.write('netrc', secret);
    const env = { PATH: programsBut(bench, ['wget']), NETRC: bench.path('netrc') };
    expect((await bench.run(['fetch'], { env })).status).toBe(0);
    expect(heads).toEqual([undefined, undefined, undefined]);
  });
});

it('leaves files alone that it has not made', async () => {
  mkdirSync(bench.path('kit/inputs'));
  bench.write('kit/inputs/gcc_12.2.0-3+b1_amd64.deb.part', 'of another run');
  bench.write('kit/inputs/holiday.part', 'of somebody');
  answersOf.set(`/first/${gcc}`, 404);
  answersOf.set(`/second/${gcc}`, 'bad');
  expect((await bench.run(['fetch'])).status).toBe(4);
  expect(readFileSync(bench.path('kit/inputs/gcc_12.2.0-3+b1_amd64.deb.part'), 'utf8')).toBe(
    'of another run',
  );
  expect(readFileSync(bench.path('kit/inputs/holiday.part'), 'utf8')).toBe('of somebody');
  expect(readdirSync(bench.path('kit/inputs'))).toHaveLength(4);
});

it('stops a place that sends more than was pinned', async () => {
  answersOf.set('/first/pool/main/l/linux/linux-source-6.1_6.1.192-2_all.deb', 'x'.repeat(100_000));
  const ran = await bench.run(['fetch'], { env: { PATH: programsBut(bench, ['wget']) } });
  expect(ran.stderr).toMatch(/^curl: \(63\)/mu);
  expect(ran.status).toBe(0);
});

it('says which file to copy when the source came from a disk', async () => {
  bench.remove();
  const source = { kind: 'tarball', path: 'linux.tar', sha256: sha256('source'), size: 6 } as const;
  bench = await makeWorkbench(() => ({ source, packages: inputs.packages }));
  const ran = await bench.run(['fetch']);
  expect(ran.status).toBe(4);
  expect(ran.stderr).toContain(sha256('source'));
  mkdirSync(bench.path('kit/inputs'), { recursive: true });
  bench.write(`kit/inputs/source-${sha256('source').slice(0, 16)}.tar`, 'source');
  bench.write('kit/inputs/dash_0.5.12-2_amd64.deb', 'dash');
  bench.write('kit/inputs/gcc_12.2.0-3+b1_amd64.deb', 'gcc');
  expect((await bench.run(['fetch'])).status).toBe(0);
});

it('says so when there is nothing to fetch with', async () => {
  const ran = await bench.run(['fetch'], { env: { PATH: programsBut(bench, ['curl', 'wget']) } });
  expect(ran.stderr).toContain('neither curl nor wget is installed');
  expect(ran.status).toBe(3);
});

it('turns the death of a command into 3, with a sentence', async () => {
  const folder = programsBut(bench, ['mv']);
  writeFileSync(join(folder, 'mv'), '#!/bin/sh\nexit 1\n');
  chmodSync(join(folder, 'mv'), 0o755);
  const ran = await bench.run(['fetch'], { env: { PATH: folder } });
  expect(ran.stderr).toMatch(/^run\.sh: a command that must not fail has failed \(1\)$/mu);
  expect(ran.status).toBe(3);
  expect(readdirSync(bench.path('kit/inputs'))).toEqual([]);
});
