import { once } from 'node:events';
import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';

/** A server in the place of Debian's archive, which has nothing. */
export interface EmptyArchive {
  /** What makes a host ask it (`QUERN_MIRRORS`). */
  readonly mirrors: string;
  stop(): void;
}

export async function startEmptyArchive(): Promise<EmptyArchive> {
  const server = createServer((_, response) => response.writeHead(404).end()).listen(0, '127.0.0.1');
  await once(server, 'listening');
  const { port } = server.address() as AddressInfo;
  return {
    mirrors: `http://deb.debian.org=http://127.0.0.1:${port}`,
    stop: () => {
      server.close();
      server.closeAllConnections();
    },
  };
}
