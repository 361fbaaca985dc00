/** One HTTP request on the wire: to the host of the URL, or through the machine's proxy. */
import { lookup as resolveName, type LookupAddress } from 'node:dns';
import {
  request as httpRequest,
  type ClientRequest,
  type IncomingMessage,
  type RequestOptions,
} from 'node:http';
import { request as httpsRequest } from 'node:https';
import { isIP, type LookupFunction, type Socket } from 'node:net';
import { connect as connectTls } from 'node:tls';

import { FetchError } from './fetch-error.ts';
import { isLocalAddress } from './local-address.ts';
import type { Network } from './network.ts';
import { proxyFor } from './proxy.ts';

type Headers = Readonly<Record<string, string>>;

/**
 * Sends a GET request and answers when the head of the answer is there.
 * @param guarded the host must not turn out to be local
 * @throws FetchError, Failure `host/bad-setting`, and what the network says
 */
export async function sendRequest(
  network: Network,
  url: URL,
  headers: Headers,
  guarded: boolean,
  signal: AbortSignal,
): Promise<IncomingMessage> {
  const proxy = proxyFor(network.env, url);
  if (!proxy) return direct(network, url, headers, guarded, signal);
  if (url.protocol === 'https:') return throughTunnel(network, proxy, url, headers, signal);
  // by RFC 9112 section 3.2.2 a proxy is asked for the whole URL
  const options = {
    ...targetOf(proxy),
    path: `${url.origin}${url.pathname}${url.search}`,
    headers: { ...headers, ...proxyLogin(proxy), host: url.host },
  };
  return answerTo(open(network, proxy, { ...options, signal }));
}

async function direct(
  network: Network,
  url: URL,
  headers: Headers,
  guarded: boolean,
  signal: AbortSignal,
): Promise<IncomingMessage> {
  const options = {
    ...targetOf(url),
    headers,
    signal,
    agent: network.agents[url.protocol === 'https:' ? 'https:' : 'http:'],
    ...(guarded && { lookup: guardedLookup }),
  };
  const request = open(network, url, options);
  try {
    return await answerTo(request);
  } catch (error) {
    // a connection that was kept open may be closed by the other side just when it is used again
    if (!request.reusedSocket || signal.aborted || !(error instanceof Error && 'code' in error)) throw error;
    return answerTo(open(network, url, { ...options, agent: false }));
  }
}

/** RFC 9110 section 9.3.6: the proxy connects, and what goes through it is between us and the host. */
async function throughTunnel(
  network: Network,
  proxy: URL,
  url: URL,
  headers: Headers,
  signal: AbortSignal,
): Promise<IncomingMessage> {
  const authority = `${url.hostname}:${url.port === '' ? '443' : url.port}`;
  const tunnel = open(network, proxy, {
    ...targetOf(proxy),
    method: 'CONNECT',
    path: authority,
    headers: { host: authority, ...proxyLogin(proxy) },
    signal,
    agent: false,
  });
  const socket = await new Promise<Socket>((resolve, reject) => {
    tunnel.on('error', reject);
    tunnel.on('connect', ({ statusCode = 0, statusMessage = '' }, connected: Socket) => {
      if (statusCode === 200) return resolve(connected);
      connected.destroy();
      const transient = statusCode >= 500;
      reject(new FetchError(`the proxy answered ${statusCode} ${statusMessage}`.trim(), { transient }));
    });
    tunnel.end();
  });
  const host = targetOf(url).hostname;
  const secure = connectTls({
    socket,
    ...(isIP(host) === 0 && { servername: host }),
    host,
    ...trust(network),
  });
  const options = { ...targetOf(url), headers: { host: url.host, ...headers }, signal };
  return answerTo(httpRequest({ ...options, createConnection: () => secure }));
}

function open(network: Network, url: URL, options: RequestOptions): ClientRequest {
  return url.protocol === 'https:' ? httpsRequest({ ...options, ...trust(network) }) : httpRequest(options);
}

function trust({ authorities }: Network): { readonly ca?: string[] } {
  return authorities ? { ca: [...authorities] } : {};
}

function targetOf(url: URL): { readonly hostname: string; readonly port: string; readonly path: string } {
  return {
    hostname: url.hostname.replace(/^\[(.*)\]$/, '$1'),
    port: url.port,
    path: `${url.pathname}${url.search}`,
  };
}

function proxyLogin({ username, password }: URL): Headers {
  return username === ''
    ? {}
    : { 'proxy-authorization': basic(decodeURIComponent(username), decodeURIComponent(password)) };
}

/** How the machine's own login at a host is told to it (RFC 7617), where there is one. */
export function authorizationFor({ logins, allowedHosts }: Network, url: URL): string | undefined {
  const login = logins.get(url.hostname);
  // for everybody to read on the way, but where the machine says that it is all right
  const mayTell = url.protocol === 'https:' || allowedHosts.has(url.hostname);
  return login && mayTell ? basic(login.user, login.password) : undefined;
}

/** RFC 7617. */
export function basic(user: string, password: string): string {
  return `Basic ${Buffer.from(`${user}:${password}`).toString('base64')}`;
}

function answerTo(request: ClientRequest): Promise<IncomingMessage> {
  return new Promise((resolve, reject) => {
    request.on('response', resolve);
    request.on('error', reject);
    if (!request.writableEnded) request.end();
  });
}

/** A name may lead anywhere: what it resolves to is what counts, and is what is connected to. */
export const guardedLookup: LookupFunction = (hostname, options, callback) => {
  resolveName(hostname, { ...options, all: true }, (error, addresses: LookupAddress[]) => {
    const found = addresses?.find(({ address }) => isLocalAddress(address));
    const [first] = addresses ?? [];
    if (error) callback(error, '');
    else if (found) callback(forbiddenAddress(found.address), '');
    else if (options.all) callback(null, addresses);
    else callback(null, first?.address ?? '', first?.family);
  });
};

export function forbiddenAddress(address: string): FetchError {
  return new FetchError(`it leads to ${address}, an address of this machine itself or its own link`, {
    forbidden: true,
  });
}
