/** An archive on a server of this machine: three signed suites with the packages that a test gives them. */
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { gzipSync } from 'node:zlib';

import type { ArchiveRequest } from '../../src/source/debian-archive.ts';
import { packagesText } from '../environment/packages.ts';
import type { FileServer } from '../host/file-server.ts';
import type { SigningKey } from './otter-key.ts';

export interface SuiteShape {
  /** In the notation of `packages.ts`; a `Buffer` is taken as the compressed index itself. */
  readonly packages?: string;
  readonly compression?: 'xz' | 'gz';
  /** The compressed index, where it is not what the packages give. */
  readonly compressed?: Buffer;
  readonly codename?: string;
  readonly date?: Date;
  readonly validUntil?: Date;
  readonly byHash?: boolean;
  readonly architecture?: string;
  /** Bytes that the unpacked index is said to have; left out of the signed index when `null`. */
  readonly unpacked?: number | null;
  readonly key?: SigningKey;
}

export interface ArchiveShape {
  readonly main?: SuiteShape;
  readonly updates?: SuiteShape;
  readonly security?: SuiteShape;
}

export interface OtterArchive {
  readonly request: ArchiveRequest;
  /** Path of a suite's package index, by name and by digest. */
  readonly paths: Readonly<
    Record<'main' | 'updates' | 'security', { readonly named: string; readonly byHash: string }>
  >;
}

export function xzSync(bytes: Uint8Array): Buffer {
  const { stdout, status } = spawnSync('xz', ['-c', '-0'], { input: bytes, maxBuffer: 1 << 28 });
  if (status !== 0) throw new Error('xz failed');
  return stdout;
}

const sha256 = (bytes: Uint8Array): string => createHash('sha256').update(bytes).digest('hex');

/** As RFC 5322 and archives write it. */
function formatDate(date: Date): string {
  return date.toUTCString().replace('GMT', 'UTC');
}

async function laySuite(
  server: FileServer,
  origin: string,
  name: string,
  key: SigningKey,
  shape: SuiteShape,
): Promise<{ readonly named: string; readonly byHash: string }> {
  const { compression = 'xz', architecture = 'amd64', date = new Date('2026-11-20T10:00:00Z') } = shape;
  const plain = Buffer.from(packagesText(shape.packages ?? ''));
  const packed = shape.compressed ?? (compression === 'xz' ? xzSync(plain) : gzipSync(plain));
  const folder = `/${origin}/dists/${name}`;
  const path = `main/binary-${architecture}/Packages`;
  const unpacked = shape.unpacked === undefined ? plain.length : shape.unpacked;
  const release = [
    'Origin: Otter Bank',
    `Codename: ${shape.codename ?? name}`,
    `Date: ${formatDate(date)}`,
    ...(shape.validUntil ? [`Valid-Until: ${formatDate(shape.validUntil)}`] : []),
    ...(shape.byHash === false ? [] : ['Acquire-By-Hash: yes']),
    'SHA256:',
    ...(unpacked === null ? [] : [` ${sha256(plain)} ${unpacked} ${path}`]),
    ` ${sha256(packed)} ${packed.length} ${path}.${compression}`,
    '',
  ].join('\n');
  const named = `${folder}/${path}.${compression}`;
  const byHash = `${folder}/main/binary-${architecture}/by-hash/SHA256/${sha256(packed)}`;
  server.on(`${folder}/InRelease`, {
    body: await (shape.key ?? key).sign(release, new Date('2026-11-20T10:00:01Z')),
  });
  server.on(named, { body: packed });
  if (shape.byHash !== false) server.on(byHash, { body: packed });
  return { named, byHash };
}

export interface OtterKeys {
  readonly archive: SigningKey;
  readonly security: SigningKey;
}

/** Lays the three suites of "bookworm" on the server; asking for them as `request` says does without waiting. */
export async function layArchive(
  server: FileServer,
  keys: OtterKeys,
  shape: ArchiveShape,
): Promise<OtterArchive> {
  const urls = { debian: `${server.url}/debian`, 'debian-security': `${server.url}/debian-security` };
  const suite = (
    origin: string,
    name: string,
    key: SigningKey,
    of: SuiteShape = {},
  ): ReturnType<typeof laySuite> => laySuite(server, origin, name, key, of);
  const paths = {
    main: await suite('debian', 'bookworm', keys.archive, shape.main),
    updates: await suite('debian', 'bookworm-updates', keys.archive, shape.updates),
    security: await suite('debian-security', 'bookworm-security', keys.security, shape.security),
  };
  const signers = { archive: [keys.archive.publicKey], security: [keys.security.publicKey] };
  const limits = { connect: 2000, stall: 2000, pace: 0, redirects: 3 };
  return {
    request: { release: 'bookworm', architecture: 'amd64', urls, signers, limits, pauses: [] },
    paths,
  };
}
