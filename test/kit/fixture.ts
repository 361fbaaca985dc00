import { createHash } from 'node:crypto';
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

import { templatesFolder } from '../../src/host/package-root.ts';
import type { KitPatches } from '../../src/kit/patches.ts';
import type { Templates } from '../../src/kit/templates.ts';
import type { Answers, Inputs, PackagePin } from '../../src/spec/lock.ts';
import type { Spec } from '../../src/spec/spec.ts';

export const sha256 = (content: string | Uint8Array): string =>
  createHash('sha256').update(content).digest('hex');

/** The templates as they are shipped. */
export function kitTemplates(): Templates {
  const folder = join(templatesFolder(), 'kit');
  return new Map(
    readdirSync(folder).map((name) => [
      name.replace(/\.hbs$/u, ''),
      readFileSync(join(folder, name), 'utf8'),
    ]),
  );
}

export const config: Uint8Array = Buffer.from('CONFIG_64BIT=y\nCONFIG_MODULES=y\n# CONFIG_SMP is not set\n');

export const spec: Spec = {
  name: 'gauge-station',
  kernel: { version: '6.1', source: { kind: 'debian', package: 'linux-source-6.1' } },
  arch: 'x86_64',
  config: {
    base: { kind: 'target', target: 'tinyconfig' },
    fragments: [],
    set: [{ option: 'MODULES', value: 'y' }],
  },
  patches: ['patches/0001-gauge-banner.patch'],
  environment: { debian: 'bookworm' },
  localversion: '-gauge',
  build: { user: 'gauge', host: 'otter-bank', epoch: 1767225600 },
  outputs: ['image', 'modules'],
};

/** A package as a lock has it. */
export function packagePin(name: string, version: string, essential: boolean): PackagePin {
  return {
    package: name,
    version,
    architecture: 'amd64',
    essential,
    origin: 'debian',
    path: `pool/main/${name[0] ?? ''}/${name}/${name}_${version}_amd64.deb`,
    size: 1000,
    sha256: sha256(name),
  };
}

export const inputs: Inputs = {
  origins: {
    debian: {
      url: 'http://archive.example/debian',
      snapshot: 'http://snapshot.example/debian/20260101T000000Z',
    },
  },
  indexes: [],
  source: {
    kind: 'debian',
    package: 'linux-source-6.1',
    version: '6.1.192-2',
    origin: 'debian',
    path: 'pool/main/l/linux/linux-source-6.1_6.1.192-2_all.deb',
    size: 6,
    sha256: sha256('source'),
  },
  fragments: [],
  patches: [{ path: 'patches/0001-gauge-banner.patch', sha256: sha256('patch') }],
  packages: [packagePin('dash', '0.5.12-2', true), packagePin('gcc', '4:12.2.0-3+b1'.slice(2), false)],
};

export const answers: Answers = {
  toolchain: { gcc: 'gcc (Debian 12.2.0-14+deb12u1) 12.2.0', ld: 'GNU ld (GNU Binutils for Debian) 2.40' },
  variables: { ARCH: 'x86_64', CC: 'gcc', srctree: '.' },
  probes: {
    'echo "$ARCH and $CC"': 'x86_64 and gcc',
    'printf "two\\nlines\\n\\n"': 'two lines',
    'echo $(pwd)/scripts': './scripts',
    'exit 3': '',
  },
  pack: sha256('pack'),
  kernelVersion: '6.1.192',
  kernelRelease: '6.1.192-gauge',
  versionString: '#1 Thu Jan  1 00:00:00 UTC 2026',
  epoch: 1767225600,
  config: sha256(config),
};

/** Patches that are applied as they are, each holding these bytes. */
export function plainPatches(paths: readonly string[], content = (path: string): string => path): KitPatches {
  return {
    stack: paths.map((path) => {
      const bytes = Buffer.from(content(path));
      const steps = [{ kind: 'apply', sha256: sha256(bytes), content: bytes }] as const;
      return { path, strip: 1, reverse: false, fuzz: 0, steps };
    }),
    left: [],
  };
}

export const patches: KitPatches = plainPatches(['patches/0001-gauge-banner.patch'], () => 'patch');
