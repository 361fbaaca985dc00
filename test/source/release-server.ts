/** A server that plays kernel.org, its mirrors and the key directory of a domain, over Debian's kernel source. */
import { execFileSync, spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

import type { FileServer } from '../host/file-server.ts';
import { kernelTree } from '../oracle/kernel-trees.ts';
import { xzSync } from './otter-archive.ts';

export const sha256 = (bytes: Uint8Array): string => createHash('sha256').update(bytes).digest('hex');

/** The version that the trimmed source is published as; what its Makefile says is Debian's business. */
export const version = '6.1.192';

export interface Tarball {
  readonly tar: Buffer;
  readonly xz: Buffer;
  readonly gz: Buffer;
}

/** Debian's source, repacked and cut down to what a configuration hangs on nearest. @throws MissingInput */
export async function trimmedSource(): Promise<Tarball> {
  const { folder } = await kernelTree('6.1');
  const parts = [
    'Makefile',
    'Kconfig',
    'Kbuild',
    'scripts/Kconfig.include',
    'init',
    'mm',
    'arch/x86/Kconfig',
  ];
  const tar = execFileSync(
    'tar',
    [
      '-c',
      '--sort=name',
      '--owner=0',
      '--group=0',
      `--transform=s,^,linux-${version}/,S`,
      '-C',
      folder,
    ].concat(parts),
    { maxBuffer: 1 << 28 },
  );
  return { tar, xz: xzSync(tar), gz: gzipSync(tar, { level: 1 }) };
}

const at = { cdn: 'cdn.kernel.org', www: 'www.kernel.org', edge: 'mirrors.edge.kernel.org' } as const;
export type Site = keyof typeof at;

/** Path on the server of a file of a release folder. */
export const pathAt = (site: Site, file: string): string => `/${site}/linux/kernel/v6.x/${file}`;

export const tarballName: string = `linux-${version}.tar`;

/** The setting of a machine that finds all of them on the server. */
export function mirrorsTo(server: FileServer): string {
  return [
    ...Object.entries(at).map(([site, host]) => `https://${host}/pub=${server.url}/${site}`),
    `https://openpgpkey.otter-bank.example=${server.url}/advanced`,
    `https://otter-bank.example=${server.url}/direct`,
    `https://kernels.otter-bank.example=${server.url}/kernels`,
  ].join(' ');
}

/** GnuPG with a home of its own: what others sign with. */
export class Gnupg {
  readonly home: string;

  constructor() {
    // the path of its agent's socket has to be short
    this.home = mkdtempSync('/tmp/quern-gpg-');
  }

  run(args: readonly string[], input?: Uint8Array): Buffer {
    const all = [
      '--homedir',
      this.home,
      '--batch',
      '--quiet',
      '--yes',
      '--pinentry-mode',
      'loopback',
      ...args,
    ];
    const { stdout, stderr, status, error } = spawnSync('gpg', ['--passphrase', '', ...all], {
      input,
      maxBuffer: 1 << 26,
    });
    if (error) throw error;
    if (status !== 0) throw new Error(`gpg ${args.join(' ')}: ${stderr.toString()}`);
    return stdout;
  }

  /** @returns the fingerprint */
  makeKey(address: string, ...options: readonly string[]): string {
    this.run([...options, '--quick-gen-key', `Otter Bank releases <${address}>`, 'ed25519', 'sign', 'never']);
    const listed = this.run(['--with-colons', '--list-keys', `=Otter Bank releases <${address}>`]).toString();
    return /^fpr:+([0-9A-F]{40}):/mu.exec(listed)?.[1] ?? '';
  }

  remove(): void {
    spawnSync('gpgconf', ['--homedir', this.home, '--kill', 'all']);
    rmSync(this.home, { recursive: true, force: true });
  }
}

/** What gpgv says of a signature: the words of its status lines (doc/DETAILS of GnuPG). */
export function gpgvStatus(
  ring: Uint8Array,
  signature: Uint8Array,
  content: Uint8Array,
): ReadonlySet<string> {
  const folder = mkdtempSync('/tmp/quern-gpgv-');
  try {
    const put = (name: string, bytes: Uint8Array): string => {
      mkdirSync(folder, { recursive: true });
      writeFileSync(join(folder, name), bytes);
      return join(folder, name);
    };
    const files = [put('signature', signature), put('content', content)];
    const args = ['--homedir', folder, '--keyring', put('ring.gpg', ring), '--status-fd', '1', ...files];
    const { stdout, error } = spawnSync('gpgv', args, { encoding: 'utf8' });
    if (error) throw error;
    return new Set([...stdout.matchAll(/^\[GNUPG:\] (\S+)/gmu)].map(([, word = '']) => word));
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
