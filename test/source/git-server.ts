/**
 * A server with git repositories on this machine: `git http-backend`, which git brings along for that, behind a server of
 * ours that speaks CGI (RFC 3875) with it.
 */
import { execFileSync, spawn } from 'node:child_process';
import { mkdirSync, writeFileSync } from 'node:fs';
import { createServer, type IncomingMessage, type ServerResponse } from 'node:http';
import { createServer as createSecureServer } from 'node:https';
import type { AddressInfo } from 'node:net';
import { dirname, join } from 'node:path';

import type { Certificate } from '../host/certificate.ts';

export interface GitServer {
  /** `http://127.0.0.1:PORT` (or https), no trailing slash. */
  readonly url: string;
  /** Paths that were asked for, in order. */
  readonly requests: readonly string[];
  /** The `Authorization` header of each request. */
  readonly logins: readonly (string | undefined)[];
  /** Answers in the place of git; one that has not answered leaves it to git. */
  intercept: ((request: IncomingMessage, response: ServerResponse) => boolean) | undefined;
  close(): Promise<void>;
}

/** @param folder whose repositories are served, each under its name */
export async function serveRepositories(folder: string, certificate?: Certificate): Promise<GitServer> {
  const requests: string[] = [];
  const logins: (string | undefined)[] = [];
  const answer = (request: IncomingMessage, response: ServerResponse): void => {
    requests.push(request.url ?? '');
    logins.push(request.headers.authorization);
    if (served.intercept?.(request, response) !== true) backend(folder, request, response);
  };
  const server = certificate ? createSecureServer(certificate, answer) : createServer(answer);
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const { port } = server.address() as AddressInfo;
  const served: GitServer = {
    url: `${certificate ? 'https' : 'http'}://127.0.0.1:${port}`,
    requests,
    logins,
    intercept: undefined,
    close: () =>
      new Promise((resolve) => {
        server.close(() => resolve());
        server.closeAllConnections();
      }),
  };
  return served;
}

function backend(folder: string, request: IncomingMessage, response: ServerResponse): void {
  const { pathname, search } = new URL(request.url ?? '', 'http://127.0.0.1');
  const { headers, method = 'GET' } = request;
  const child = spawn('git', ['http-backend'], {
    env: {
      PATH: process.env['PATH'],
      GIT_PROJECT_ROOT: folder,
      GIT_HTTP_EXPORT_ALL: '1',
      GIT_CONFIG_NOSYSTEM: '1',
      PATH_INFO: decodeURIComponent(pathname),
      QUERY_STRING: search.slice(1),
      REQUEST_METHOD: method,
      CONTENT_TYPE: headers['content-type'] ?? '',
      HTTP_CONTENT_ENCODING: headers['content-encoding'] ?? '',
      HTTP_GIT_PROTOCOL: String(headers['git-protocol'] ?? ''),
      REMOTE_ADDR: '127.0.0.1',
    },
    stdio: ['pipe', 'pipe', 'ignore'],
  });
  request.pipe(child.stdin);
  child.stdin.on('error', () => undefined);
  response.on('close', () => child.kill());
  let head: Buffer | undefined = Buffer.alloc(0);
  child.stdout.on('data', (chunk: Buffer) => {
    if (!head) return void response.write(chunk);
    head = Buffer.concat([head, chunk]);
    const end = head.indexOf('\r\n\r\n');
    if (end < 0) return undefined;
    for (const line of head.toString('latin1', 0, end).split('\r\n')) {
      const [name = '', value = ''] = line.split(/:\s*/u);
      if (name.toLowerCase() === 'status') response.statusCode = Number.parseInt(value, 10);
      else response.setHeader(name, value);
    }
    const rest = head.subarray(end + 4);
    head = undefined;
    return void response.write(rest);
  });
  child.stdout.on('end', () => response.end());
}

const author = {
  GIT_AUTHOR_NAME: 'Otter Bank',
  GIT_AUTHOR_EMAIL: 'station@otter-bank.example',
  GIT_AUTHOR_DATE: '2026-01-01T00:00:00Z',
  GIT_COMMITTER_NAME: 'Otter Bank',
  GIT_COMMITTER_EMAIL: 'station@otter-bank.example',
  GIT_COMMITTER_DATE: '2026-01-02T00:00:00Z',
};

/** A repository with a working tree, made step by step as a person would. */
export class GitRepository {
  readonly folder: string;

  private constructor(folder: string) {
    this.folder = folder;
  }

  static make(folder: string): GitRepository {
    mkdirSync(folder, { recursive: true });
    const repository = new GitRepository(folder);
    repository.git('init', '--quiet', '--initial-branch=main');
    return repository;
  }

  /** One that was made before. */
  static at(folder: string): GitRepository {
    return new GitRepository(folder);
  }

  /** Runs git, with no settings of this machine. @returns what it prints, without the line break */
  git(...args: readonly string[]): string {
    return this.gitWith({}, ...args);
  }

  gitWith(env: Readonly<Record<string, string>>, ...args: readonly string[]): string {
    const own = { GIT_CONFIG_GLOBAL: '/dev/null', GIT_CONFIG_NOSYSTEM: '1', HOME: '/nonexistent' };
    return execFileSync('git', ['-C', this.folder, '-c', 'core.safecrlf=false', ...args], {
      encoding: 'utf8',
      env: { PATH: process.env['PATH'], ...own, ...author, ...env },
      maxBuffer: 1 << 28,
    }).trimEnd();
  }

  write(path: string, content: string | Uint8Array): void {
    const full = join(this.folder, path);
    mkdirSync(dirname(full), { recursive: true });
    writeFileSync(full, content);
  }

  /** @returns the commit */
  commit(message = 'as it is'): string {
    this.git('add', '--all', '--force');
    this.git('commit', '--quiet', '--allow-empty', `--message=${message}`);
    return this.git('rev-parse', 'HEAD');
  }
}
