/** A build of the Otter Bank river-gauge stations, as its parts would describe it. */
import { createHash } from 'node:crypto';
import type { ProvenanceFacts } from '../../src/record/provenance.ts';
import type { Isolation } from '../../src/record/statement.ts';

export function sha256(text: string): string {
  return createHash('sha256').update(text).digest('hex');
}

export const isolation: Isolation = {
  kind: 'container',
  user: 1000,
  capabilities: '0000000000000000',
  bounding: '0000000000000000',
  noNewPrivileges: true,
  seccomp: 2,
  interfaces: ['lo'],
  rootReadOnly: true,
  memoryLimit: '4294967296',
  processLimit: 'max',
};

/** What lies in the folder, beside the record itself. */
export const artefacts: ReadonlyMap<string, string> = new Map([
  ['bzImage', 'the image'],
  ['System.map', 'symbols'],
  ['kernel.config', 'CONFIG_64BIT=y\n'],
  ['modules.tar.xz', 'modules'],
]);
export const byproducts: ReadonlyMap<string, string> = new Map([
  ['make.log.gz', 'log'],
  ['kit/build.sh', 'script'],
]);

const files = (contents: ReadonlyMap<string, string>): { name: string; sha256: string }[] =>
  [...contents].map(([name, text]) => ({ name, sha256: sha256(text) }));

export const facts: ProvenanceFacts = {
  specFile: { path: 'gauge-station.yaml', sha256: sha256('spec') },
  lockFile: { path: 'gauge-station.lock.json', sha256: sha256('lock') },
  spec: {
    name: 'gauge-station',
    kernel: { version: '6.1', source: { kind: 'debian', package: 'linux-source-6.1' } },
    arch: 'x86_64',
    config: {
      base: { kind: 'target', target: 'tinyconfig' },
      fragments: ['serial-console.config'],
      set: [
        { option: 'CRC7', value: 'm' },
        { option: 'DEFAULT_HOSTNAME', value: '"otter-bank"' },
      ],
    },
    patches: ['patches/0001-gauge-banner.patch'],
    environment: { debian: 'bookworm', gcc: 12 },
    localversion: '-otter',
    build: { user: 'gauge', host: 'otter-bank', epoch: 1767225600 },
    outputs: ['image', 'modules'],
  },
  inputs: {
    origins: {
      debian: { url: 'http://deb.debian.org/debian' },
      security: { url: 'http://deb.debian.org/debian-security' },
    },
    indexes: [],
    source: {
      kind: 'debian',
      origin: 'security',
      package: 'linux-source-6.1',
      version: '6.1.192-2',
      path: 'pool/updates/main/l/linux/linux-source-6.1_6.1.192-2_all.deb',
      size: 139331676,
      sha256: sha256('source'),
    },
    base: { path: 'base.config', sha256: sha256('base') },
    fragments: [{ path: 'serial-console.config', sha256: sha256('fragment') }],
    patches: [{ path: 'patches/0001-gauge-banner.patch', sha256: sha256('patch') }],
    packages: [
      {
        origin: 'debian',
        package: 'bc',
        version: '1.07.1-3+b1',
        architecture: 'amd64',
        path: 'pool/main/b/bc/bc_1.07.1-3+b1_amd64.deb',
        size: 109648,
        sha256: sha256('bc'),
        essential: false,
      },
      {
        origin: 'debian',
        package: 'g++-12',
        version: '4:12.2.0~rc1-3',
        architecture: 'amd64',
        path: 'pool/main/g/gcc/g++-12_12.2.0~rc1-3_amd64.deb',
        size: 5,
        sha256: sha256('g++'),
        essential: false,
      },
    ],
  },
  answers: {
    kernelRelease: '6.1.192-otter',
    versionString: '#1 Thu Jan  1 00:00:00 UTC 2026',
  },
  artefacts: files(artefacts),
  image: 'bzImage',
  byproducts: [{ name: 'kernel.config', sha256: sha256('CONFIG_64BIT=y\n') }, ...files(byproducts)],
  quern: '0.1.0',
  engine: { name: 'docker', version: '20.10.24' },
  jobs: 2,
  isolation,
  invocationId: '0f8fad5b-d9cb-469f-a165-70867728950e',
  startedOn: new Date('2026-11-25T10:00:00.000Z'),
  finishedOn: new Date('2026-11-25T10:15:12.345Z'),
};
