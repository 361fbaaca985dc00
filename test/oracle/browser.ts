/** A page in headless Chromium, served from this machine alone. */
import { spawn, spawnSync, type ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync } from 'node:fs';
import { createServer, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { buffer } from 'node:stream/consumers';
import { setTimeout } from 'node:timers/promises';

import { MissingInput } from './apt-root.ts';

export interface Served {
  /** Its media type. */
  readonly type: string;
  readonly content: string | Uint8Array;
}

/** What a page has sent to its server. */
export interface Posted {
  /** The path it was sent to, without the slash. */
  readonly name: string;
  readonly content: Buffer;
}

/** A browser on a small machine that has other things to do. */
const mostMilliseconds = 10 * 60_000;

/**
 * Opens a page that is nothing but a script, and waits for the first thing that it posts.
 *
 * @param script a module of JavaScript
 * @param files what the script can fetch, by path without the slash
 * @throws MissingInput where there is no browser
 * @throws Error when the browser ends, or the time, before the page has posted anything
 */
export async function runPage(script: string, files: Readonly<Record<string, Served>>): Promise<Posted> {
  if (spawnSync('chromium', ['--version']).status !== 0) throw new MissingInput('there is no chromium');
  const server = createServer();
  const posted = firstPost(server, {
    ...files,
    '': { type: 'text/html', content: '<!doctype html><script type="module" src="/page.js"></script>' },
    'page.js': { type: 'text/javascript', content: script },
  });
  server.listen(0, '127.0.0.1');
  await once(server, 'listening');
  const profile = mkdtempSync(path.join(tmpdir(), 'quern-browser-'));
  const browser = startBrowser(profile, `http://127.0.0.1:${(server.address() as AddressInfo).port}/`);
  let said = '';
  browser.stderr?.setEncoding('utf8').on('data', (text: string) => {
    said += text;
  });
  const ended = once(browser, 'close');
  const time = new AbortController();
  try {
    const first = await Promise.race([
      posted,
      ended.then(() => 'the browser ended'),
      setTimeout(mostMilliseconds, 'its time is up', { signal: time.signal }),
    ]);
    if (typeof first === 'string') throw new Error(`the page posted nothing, and ${first}: ${said}`);
    return first;
  } finally {
    time.abort();
    // the group, since a browser is many processes
    if (browser.pid !== undefined && browser.exitCode === null) process.kill(-browser.pid, 'SIGKILL');
    await ended;
    server.closeAllConnections();
    server.close();
    rmSync(profile, { recursive: true, force: true, maxRetries: 5 });
  }
}

function startBrowser(profile: string, address: string): ChildProcess {
  const words = [
    '--headless',
    // root may not start one that shuts its pages in
    '--no-sandbox',
    '--disable-gpu',
    // and none of them is to speak to anybody but our server
    '--disable-quic',
    '--no-first-run',
    '--disable-background-networking',
    '--disable-component-update',
    '--disable-sync',
    `--user-data-dir=${profile}`,
    address,
  ];
  return spawn('chromium', words, { detached: true, stdio: ['ignore', 'ignore', 'pipe'] });
}

function firstPost(server: Server, files: Readonly<Record<string, Served>>): Promise<Posted> {
  return new Promise((resolve, reject) => {
    server.on('request', (request, response) => {
      const name = (request.url ?? '').slice(1);
      if (request.method === 'POST') {
        buffer(request).then((content) => {
          response.end();
          resolve({ name, content });
        }, reject);
        return;
      }
      const file = files[name];
      response.writeHead(file ? 200 : 404, { 'content-type': file?.type ?? 'text/plain' });
      response.end(file?.content);
    });
  });
}
