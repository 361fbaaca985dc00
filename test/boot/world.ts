/** A folder as a build leaves it, and a host to boot it on. */
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { architectureFacts, type Architecture, type Emulator } from '../../src/environment/architectures.ts';
import type { Host } from '../../src/host/host.ts';
import { Store } from '../../src/host/store.ts';
import { buildProvenance } from '../../src/record/provenance.ts';
import { formatStatement } from '../../src/record/statement.ts';
import { facts } from '../record/station.ts';

export function benchHost(change: Partial<Host> = {}): Host {
  return {
    cwd: '/',
    env: { PATH: process.env['PATH'] },
    now: () => new Date(),
    signal: new AbortController().signal,
    progress: {
      stage: () => undefined,
      advance: () => undefined,
      line: () => undefined,
      end: () => undefined,
    },
    store: new Store(join(tmpdir(), 'quern-no-store')),
    ...change,
  };
}

export function emulatorOf(arch: Architecture): Emulator {
  const { boot } = architectureFacts(arch);
  if (!boot) throw new Error(`${arch} is not booted`);
  return boot.emulator;
}

export interface RecordShape {
  readonly image: Uint8Array;
  readonly config?: string;
  /** Path below lib/modules/RELEASE to content. */
  readonly modules?: Readonly<Record<string, Uint8Array>>;
  readonly release?: string;
  readonly versionString?: string;
}

export interface TestRecord {
  readonly folder: string;
  readonly dispose: () => void;
}

/** Writes image, configuration, modules archive and provenance; `SHA256SUMS` plays no part in booting. */
export function makeRecord(shape: RecordShape): TestRecord {
  const folder = mkdtempSync(join(tmpdir(), 'quern-record-'));
  const { release = '6.1.192-otter', versionString = '#1 SMP' } = shape;
  writeFileSync(join(folder, 'bzImage'), shape.image);
  writeFileSync(join(folder, 'kernel.config'), shape.config ?? 'CONFIG_64BIT=y\n');
  if (shape.modules) archiveModules(join(folder, 'modules.tar.xz'), release, shape.modules);
  const names = ['bzImage', 'kernel.config', ...(shape.modules ? ['modules.tar.xz'] : [])];
  const statement = buildProvenance({
    ...facts,
    answers: { kernelRelease: release, versionString },
    artefacts: names.map((name) => ({ name, sha256: digest(join(folder, name)) })),
  });
  writeFileSync(join(folder, 'provenance.json'), formatStatement(statement));
  return { folder, dispose: () => rmSync(folder, { recursive: true }) };
}

export function digest(path: string): string {
  return createHash('sha256').update(readFileSync(path)).digest('hex');
}

/** With GNU tar and xz, as a kit does it. */
export function archiveModules(
  archive: string,
  release: string,
  modules: Readonly<Record<string, Uint8Array>>,
): void {
  const root = mkdtempSync(join(tmpdir(), 'quern-modules-'));
  try {
    for (const [path, bytes] of Object.entries(modules)) {
      const target = join(root, 'lib/modules', release, path);
      mkdirSync(dirname(target), { recursive: true });
      writeFileSync(target, bytes);
    }
    execFileSync('tar', ['--sort=name', '-cJf', archive, '-C', root, 'lib']);
  } finally {
    rmSync(root, { recursive: true });
  }
}
