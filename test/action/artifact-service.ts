/**
 * A stand-in for the artifact service of a workflow run, which speaks its protocol to the real client: Twirp with JSON
 * for the service, Azure's block blobs for the transfer.
 */
import { createServer, type IncomingMessage, type Server } from 'node:http';
import { once } from 'node:events';

/** How a request is answered; `hang` never does. */
export type Behaviour = 'ok' | 'hang' | number;

export interface ArtifactService {
  /** What a runner would put into the environment of a step. */
  readonly env: Readonly<Record<string, string>>;
  /** `CreateArtifact`, `PutBlock`, `PutBlockList`, `FinalizeArtifact` as they came, with the answers. */
  readonly requests: readonly string[];
  /** What was transferred, put together. */
  archive(): Buffer;
  /** The bodies of the calls of the service. */
  readonly bodies: ReadonlyMap<string, Readonly<Record<string, unknown>>>;
  stop(): Promise<void>;
}

/** @param answers by name of the request; the first is for the first, the last for all that follow */
export async function startArtifactService(
  answers: Readonly<Record<string, readonly Behaviour[]>> = {},
): Promise<ArtifactService> {
  const requests: string[] = [];
  const bodies = new Map<string, Readonly<Record<string, unknown>>>();
  const blocks = new Map<string, Buffer>();
  const order: string[] = [];
  const counts = new Map<string, number>();
  let base = '';

  const behaviourOf = (name: string): Behaviour => {
    const count = counts.get(name) ?? 0;
    counts.set(name, count + 1);
    const list = answers[name] ?? ['ok'];
    return list[Math.min(count, list.length - 1)] ?? 'ok';
  };
  const server: Server = createServer((request, response) => {
    const url = new URL(request.url ?? '/', base);
    const name = nameOf(request, url);
    void readAll(request).then((body) => {
      const behaviour = behaviourOf(name);
      requests.push(`${name} ${behaviour}`);
      if (behaviour === 'hang') return;
      if (behaviour !== 'ok') {
        const text = JSON.stringify({ code: 'internal', msg: 'the stand-in was told to fail' });
        response.writeHead(behaviour, { 'content-type': 'application/json' }).end(text);
        return;
      }
      if (name === 'PutBlock') blocks.set(url.searchParams.get('blockid') ?? '', body);
      if (name === 'PutBlockList') {
        order.push(...[...body.toString().matchAll(/<Latest>([^<]*)</gu)].map(([, id = '']) => id));
      }
      if (name.startsWith('Put')) {
        const headers = {
          etag: '"1"',
          'last-modified': new Date(0).toUTCString(),
          'x-ms-request-id': 'otter',
          'x-ms-version': '2025-01-05',
          'x-ms-request-server-encrypted': 'true',
          date: new Date(0).toUTCString(),
        };
        response.writeHead(201, headers).end();
        return;
      }
      bodies.set(name, JSON.parse(body.toString()));
      const reply =
        name === 'CreateArtifact'
          ? { ok: true, signed_upload_url: `${base}/blob/otter?sig=secret` }
          : { ok: true, artifact_id: '42' };
      response.writeHead(200, { 'content-type': 'application/json' }).end(JSON.stringify(reply));
    });
  });
  server.listen(0, '127.0.0.1');
  await once(server, 'listening');
  const address = server.address();
  if (address === null || typeof address === 'string') throw new Error('no port');
  base = `http://127.0.0.1:${address.port}`;
  return {
    env: { ACTIONS_RESULTS_URL: `${base}/`, ACTIONS_RUNTIME_TOKEN: token() },
    requests,
    bodies,
    archive: () => Buffer.concat(order.map((id) => blocks.get(id) ?? Buffer.alloc(0))),
    stop: async () => {
      server.closeAllConnections();
      server.close();
      await once(server, 'close');
    },
  };
}

function nameOf(request: IncomingMessage, url: URL): string {
  const service = /^\/twirp\/github\.actions\.results\.api\.v1\.ArtifactService\/(\w+)$/u.exec(url.pathname);
  if (service?.[1] !== undefined) return service[1];
  const part = url.searchParams.get('comp');
  if (request.method === 'PUT') return part === 'blocklist' ? 'PutBlockList' : 'PutBlock';
  return `${request.method} ${url.pathname}`;
}

async function readAll(request: IncomingMessage): Promise<Buffer> {
  const chunks: Buffer[] = [];
  for await (const chunk of request as AsyncIterable<Buffer>) chunks.push(chunk);
  return Buffer.concat(chunks);
}

/** A token as the service gives it to a job, without a signature: the client reads the two ids in it. */
function token(): string {
  const part = (value: object): string => Buffer.from(JSON.stringify(value)).toString('base64url');
  const run = '11111111-2222-3333-4444-555555555555';
  const job = '66666666-7777-8888-9999-000000000000';
  return `${part({ alg: 'none' })}.${part({ scp: `Actions.Results:${run}:${job}` })}.`;
}
