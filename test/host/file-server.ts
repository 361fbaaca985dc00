/** A server on this machine whose answers a test decides: an archive, a mirror that breaks off, one that never answers. */
import { createServer, type IncomingHttpHeaders, type IncomingMessage, type ServerResponse } from 'node:http';
import { createServer as createSecureServer } from 'node:https';
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
  /** Sends a byte now and then, for ever. */
  | { readonly drips: Uint8Array; readonly every: number }
  /** Hands out the rest of it when asked, and closes the connection after so many bytes of each answer. */
  | {
      readonly parts: Uint8Array;
      readonly cutAfter?: number;
      readonly etag?: string;
      /** Hands out a part of whatever it has by now. */
      readonly heedless?: true;
    }
  /** Takes the request and never answers. */
  | 'silent';

export interface FileServer {
  /** `http://127.0.0.1:PORT` (or https), no trailing slash. */
  readonly url: string;
  readonly port: number;
  /** Paths that were asked for, in order. */
  readonly requests: readonly string[];
  /** What stood in the head of each request. */
  readonly headers: readonly IncomingHttpHeaders[];
  /** Several answers are given one after the other, the last one again and again; other paths answer 404. */
  on(path: string, ...answers: readonly Answer[]): void;
  close(): Promise<void>;
}

function give(response: ServerResponse, answer: Answer, asked: IncomingHttpHeaders): void {
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
  } else if ('drips' in answer) {
    response.writeHead(200, { 'content-length': 1 << 20 });
    const timer = setInterval(() => response.write(answer.drips), answer.every);
    response.on('close', () => clearInterval(timer));
  } else if ('parts' in answer) {
    giveParts(response, answer, asked);
  } else {
    const body = Buffer.from(answer.body);
    response.writeHead(200, { 'content-length': body.length, ...answer.headers }).end(body);
  }
}

/** RFC 9110 section 14, as far as a download asks for it. */
function giveParts(
  response: ServerResponse,
  { parts, cutAfter = parts.length, etag, heedless }: Extract<Answer, { readonly parts: Uint8Array }>,
  { range, 'if-range': ifRange }: IncomingHttpHeaders,
): void {
  const wanted = Number(/^bytes=(\d+)-$/u.exec(range ?? '')?.[1] ?? 0);
  const from = ifRange === undefined || ifRange === etag || heedless ? wanted : 0;
  if (from >= parts.length) return void response.writeHead(416).end();
  response.writeHead(from > 0 ? 206 : 200, {
    'content-length': parts.length - from,
    ...(etag !== undefined && { etag }),
    ...(from > 0 && { 'content-range': `bytes ${from}-${parts.length - 1}/${parts.length}` }),
  });
  const whole = from + cutAfter >= parts.length;
  if (whole) response.end(parts.subarray(from));
  else response.write(parts.subarray(from, from + cutAfter), () => setTimeout(() => response.destroy(), 50));
}

/** @param secure key and certificate in PEM, for https */
export async function serveFiles(secure?: {
  readonly key: string;
  readonly cert: string;
}): Promise<FileServer> {
  const answers = new Map<string, Answer[]>();
  const requests: string[] = [];
  const headers: IncomingHttpHeaders[] = [];
  const answer = (request: IncomingMessage, response: ServerResponse): void => {
    const path = decodeURIComponent(request.url ?? '');
    requests.push(path);
    headers.push(request.headers);
    const list = answers.get(path) ?? [];
    const next = list.length > 1 ? list.shift() : list[0];
    give(response, next ?? { status: 404 }, request.headers);
  };
  const server = secure ? createSecureServer(secure, answer) : createServer(answer);
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const { port } = server.address() as AddressInfo;
  return {
    url: `${secure ? 'https' : 'http'}://127.0.0.1:${port}`,
    port,
    requests,
    headers,
    on: (path, ...given) => void answers.set(path, [...given]),
    close: () =>
      new Promise((resolve) => {
        server.close(() => resolve());
        server.closeAllConnections();
      }),
  };
}
