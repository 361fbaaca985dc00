/** How this machine reaches others. All of it comes from the environment of whoever runs the command, never from a spec. */
import { readFileSync } from 'node:fs';
import { Agent as HttpAgent } from 'node:http';
import { Agent as HttpsAgent } from 'node:https';
import { rootCertificates } from 'node:tls';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { fetchCodes } from './fetch-codes.ts';
import type { Host } from './host.ts';
import { parseMirrors, type Mirror } from './mirrors.ts';
import { parseNetrc, type Login } from './netrc.ts';

type Environment = Host['env'];

export interface Network {
  readonly env: Environment;
  readonly mirrors: readonly Mirror[];
  /** Names of hosts that may be anywhere, also on this machine: the machine's own mirrors, and `QUERN_ALLOWED_HOSTS`. */
  readonly allowedHosts: ReadonlySet<string>;
  /** Certificates of authorities, in the place of those that Node brings along. */
  readonly authorities: readonly string[] | undefined;
  readonly logins: ReadonlyMap<string, Login>;
  readonly agents: { readonly 'http:': HttpAgent; readonly 'https:': HttpsAgent };
}

const known = new WeakMap<Environment, Network>();

/**
 * The settings of a host; files that they name are read once.
 * @throws Failure `host/bad-mirror`, `host/bad-setting`
 */
export function networkOf({ env }: Pick<Host, 'env'>): Network {
  const network = known.get(env) ?? readNetwork(env);
  known.set(env, network);
  return network;
}

function readNetwork(env: Environment): Network {
  const mirrors = parseMirrors(env['QUERN_MIRRORS'] ?? '');
  const own = (env['QUERN_ALLOWED_HOSTS'] ?? '').split(/[\s,]+/).filter((name) => name !== '');
  const agent = { keepAlive: true };
  return {
    env,
    mirrors,
    allowedHosts: new Set([
      ...mirrors.map(({ replacement }) => new URL(replacement).hostname),
      ...own.map(hostNameOf),
    ]),
    authorities: readAuthorities(env),
    logins: parseNetrc(readNamed(env, 'NETRC')),
    agents: { 'http:': new HttpAgent(agent), 'https:': new HttpsAgent(agent) },
  };
}

/** A host as URLs have it, of what people write: with a port, an IPv6 address without brackets. */
function hostNameOf(entry: string): string {
  const text = /^[0-9a-fA-F:]*:[0-9a-fA-F:]*:[0-9a-fA-F:.]*$/u.test(entry) ? `[${entry}]` : entry;
  if (URL.canParse(`http://${text}`)) {
    const { hostname, host, href } = new URL(`http://${text}`);
    if (href === `http://${host}/`) return hostname;
  }
  throw new Failure(
    fetchCodes.report('host/bad-setting', {
      message: `QUERN_ALLOWED_HOSTS has ${quoted(entry, 120)}, which is no host`,
      help: 'Name hosts, separated by commas or white space: localhost, mirror.otter-bank.example.',
    }),
  );
}

/**
 * `SSL_CERT_FILE` takes the place of the usual authorities, as OpenSSL has it; `NODE_EXTRA_CA_CERTS` adds to them, as Node
 * has it, which no longer does so by itself where others are given.
 */
function readAuthorities(env: Environment): readonly string[] | undefined {
  const instead = readNamed(env, 'SSL_CERT_FILE');
  const beside = readNamed(env, 'NODE_EXTRA_CA_CERTS');
  if (instead === '' && beside === '') return undefined;
  return [...(instead === '' ? rootCertificates : [instead]), ...(beside === '' ? [] : [beside])];
}

/** The file that a variable names; empty when there is no such variable. */
function readNamed(env: Environment, name: string): string {
  const path = env[name] ?? '';
  if (path === '') return '';
  try {
    return readFileSync(path, 'utf8');
  } catch (error) {
    throw new Failure(
      fetchCodes.report('host/bad-setting', {
        message: `${name} names ${quoted(path, 120)}, which cannot be read`,
        notes: [`The system says: ${error instanceof Error ? error.message : String(error)}.`],
        help: `Bring the file, or take ${name} out of the environment.`,
      }),
      { cause: error },
    );
  }
}
