/** A server on this machine whose answers a test decides: an archive, a mirror that breaks off, one that never answers. */
import { createServer, type ServerResponse } from 'node:http';
import type { AddressInfo } from 'node:net';

export type Answer =
  | { readonly body: Uint8Array | string; readonly headers?: Readonly<Record<string, string>> }
  | { readonly status: number }
  | { readonly redirect: string }
  /** Announces nothing, sends this and ends as if it were whole. */
  | { readonly unannounced: Uint8Array }
  /** Announces `length` bytes, sends fewer and closes the connection. */
  | { readonly breaksOff: Uint8Array; readonly length: number }
  /** Sends this and then nothing more. */
  | { readonly stalls: Uint8Array; readonly length: number }
  /** Takes the request and never answers. */
  | 'silent';

export interface FileServer {
  /** `http://127.0.0.1:PORT`, no trailing slash. */
  readonly url: string;
  /** Paths that were asked for, in order. */
  readonly requests: readonly string[];
  /** Several answers are given one after the other, the last one again and again; other paths answer 404. */
  on(path: string, ...answers: readonly Answer[]): void;
  close(): Promise<void>;
}

function give(response: ServerResponse, answer: Answer): void {
  if (answer === 'silent') return;
  if ('status' in answer) response.writeHead(answer.status).end();
  else if ('redirect' in answer) response.writeHead(302, { location: answer.redirect }).end();
  else if ('unannounced' in answer) response.writeHead(200).end(answer.unannounced);
  else if ('breaksOff' in answer) {
    response.writeHead(200, { 'content-length': answer.length });
    // later, since a stream that breaks drops what has not been read of it
    response.write(answer.breaksOff, () => setTimeout(() => response.destroy(), 200));
  } else if ('stalls' in answer) {
    response.writeHead(200, { 'content-length': answer.length }).write(answer.stalls);
  } else {
    const body = Buffer.from(answer.body);
    response.writeHead(200, { 'content-length': body.length, ...answer.headers }).end(body);
  }
}

export async function serveFiles(): Promise<FileServer> {
  const answers = new Map<string, Answer[]>();
  const requests: string[] = [];
  const server = createServer((request, response) => {
    const path = decodeURIComponent(request.url ?? '');
    requests.push(path);
    const list = answers.get(path) ?? [];
    const answer = list.length > 1 ? list.shift() : list[0];
    give(response, answer ?? { status: 404 });
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const { port } = server.address() as AddressInfo;
  return {
    url: `http://127.0.0.1:${port}`,
    requests,
    on: (path, ...given) => void answers.set(path, [...given]),
    close: () =>
      new Promise((resolve) => {
        server.close(() => resolve());
        server.closeAllConnections();
      }),
  };
}
