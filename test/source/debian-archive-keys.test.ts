import { spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';

import { readKey } from 'openpgp';
import { describe, expect, it } from 'vitest';

import { archiveSigners } from '../../src/source/debian-archive-keys.ts';
import { debianReleases } from '../../src/spec/spec.ts';

const keys = [
  ...new Map(
    debianReleases
      .flatMap((release) => [...archiveSigners[release].archive, ...archiveSigners[release].security])
      .map((key) => [key.fingerprint, key]),
  ).values(),
];

describe('the keys of the archive', () => {
  it.each(keys)('$fingerprint is the key that it says', async ({ fingerprint, armored }) => {
    const key = await readKey({ armoredKey: armored });
    expect(key.isPrivate()).toBe(false);
    expect(key.getFingerprint().toUpperCase()).toBe(fingerprint);
    expect(key.getUserIDs()[0]).toMatch(/^Debian .* Key \(1[123]\/\w+\) <[\w-]+@(lists\.)?debian\.org>$/);
  });

  it('those of archive and security do not mix', () => {
    for (const release of debianReleases) {
      const { archive, security } = archiveSigners[release];
      expect(archive.filter((key) => security.includes(key))).toEqual([]);
    }
  });

  // The keyring of Debian's package debian-archive-keyring, read by gpg
  const keyring = '/usr/share/keyrings/debian-archive-keyring.gpg';
  const noGpg = !existsSync(keyring) || spawnSync('gpg', ['--version']).error !== undefined;
  it.skipIf(noGpg)('are all in the keyring that Debian ships', () => {
    const args = [
      '--no-default-keyring',
      '--keyring',
      keyring,
      '--with-colons',
      '--fingerprint',
      '--list-keys',
    ];
    const { stdout } = spawnSync('gpg', args, { encoding: 'utf8' });
    const shipped = [...stdout.matchAll(/^pub:.*\n(?:.*\n)*?fpr:+([0-9A-F]{40}):/gm)].map(
      ([, found]) => found,
    );
    expect(shipped).toEqual(expect.arrayContaining(keys.map((key) => key.fingerprint)));
  });
});
