/**
 * A registry on this machine: the program of Debian's package docker-registry, which is the reference implementation of
 * the distribution specification. Images are pushed through its HTTP interface.
 */
import { spawn } from 'node:child_process';
import { createHash } from 'node:crypto';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:net';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';

export interface TestRegistry {
  /** `127.0.0.1:PORT` */
  readonly host: string;
  readonly url: string;
  /** Where it keeps what it has. */
  readonly folder: string;
  stop(): Promise<void>;
}

/** @param auth lines of the registry's configuration; `folder` of a registry whose images it is to have */
export async function startRegistry(auth = '', folder?: string): Promise<TestRegistry> {
  const data = folder ?? mkdtempSync(join(tmpdir(), 'quern-registry-'));
  const port = await freePort();
  const config = join(data, `config-${port}.yml`);
  writeFileSync(
    config,
    [
      'version: 0.1',
      'log: { level: error, accesslog: { disabled: true } }',
      `storage: { filesystem: { rootdirectory: '${data}' }, delete: { enabled: true } }`,
      `http: { addr: '127.0.0.1:${port}' }`,
      auth,
      '',
    ].join('\n'),
  );
  const daemon = spawn('docker-registry', ['serve', config], {
    stdio: 'ignore',
    env: { ...process.env, OTEL_TRACES_EXPORTER: 'none' },
  });
  const ended = new Promise<void>((resolve) => daemon.once('exit', () => resolve()));
  const host = `127.0.0.1:${port}`;
  const url = `http://${host}`;
  for (let tries = 0; !(await answers(url)); tries += 1) {
    if (tries === 200 || daemon.exitCode !== null) throw new Error('docker-registry does not answer');
    await sleep(50);
  }
  return {
    host,
    url,
    folder: data,
    stop: async () => {
      daemon.kill();
      await ended;
      if (folder === undefined) rmSync(data, { recursive: true, force: true });
    },
  };
}

async function answers(url: string): Promise<boolean> {
  return fetch(`${url}/v2/`).then(
    ({ status }) => status === 200 || status === 401,
    () => false,
  );
}

function freePort(): Promise<number> {
  return new Promise((resolve) => {
    const server = createServer();
    server.listen(0, '127.0.0.1', () => {
      const { port } = server.address() as AddressInfo;
      server.close(() => resolve(port));
    });
  });
}

export const sha256 = (bytes: Uint8Array): string => createHash('sha256').update(bytes).digest('hex');

export interface PushedBlob {
  readonly digest: string;
  readonly size: number;
}

/** OCI distribution specification, "Pushing a blob monolithically". */
export async function pushBlob(url: string, repository: string, bytes: Uint8Array): Promise<PushedBlob> {
  const digest = `sha256:${sha256(bytes)}`;
  const begun = await fetch(`${url}/v2/${repository}/blobs/uploads/`, { method: 'POST' });
  const place = new URL(begun.headers.get('location') ?? '', url);
  place.searchParams.set('digest', digest);
  const headers = { 'content-type': 'application/octet-stream' };
  const put = await fetch(place, { method: 'PUT', body: Buffer.from(bytes), headers });
  if (put.status !== 201) throw new Error(`the blob was not taken: ${put.status} ${await put.text()}`);
  return { digest, size: bytes.length };
}

/** "Pushing Manifests". @returns its digest */
export async function pushManifest(
  url: string,
  repository: string,
  tag: string,
  manifest: { readonly mediaType: string },
): Promise<PushedBlob> {
  const body = JSON.stringify(manifest);
  const put = await fetch(`${url}/v2/${repository}/manifests/${tag}`, {
    method: 'PUT',
    body,
    headers: { 'content-type': manifest.mediaType },
  });
  if (put.status !== 201) throw new Error(`the manifest was not taken: ${put.status} ${await put.text()}`);
  return { digest: `sha256:${sha256(Buffer.from(body))}`, size: Buffer.byteLength(body) };
}

export async function deleteManifest(url: string, repository: string, digest: string): Promise<void> {
  const { status } = await fetch(`${url}/v2/${repository}/manifests/${digest}`, { method: 'DELETE' });
  if (status !== 202) throw new Error(`the manifest was not deleted: ${status}`);
}
