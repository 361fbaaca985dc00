import { spawn, spawnSync } from 'node:child_process';
import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { testCache } from '../setup/engine.ts';
import { builtCli } from '../setup/built-cli.ts';

/** What a run of the command line left. */
export interface Ran {
  readonly status: number | null;
  readonly stdout: string;
  readonly stderr: string;
}

/** The Otter Bank spec in a folder of its own, where a test may change what it likes. */
export interface Workspace {
  readonly folder: string;
  readonly spec: string;
  readonly env: Readonly<Record<string, string | undefined>>;
  path(...parts: string[]): string;
  /** Runs `quern`, as a user would, in the folder. */
  quern(words: readonly string[], env?: Readonly<Record<string, string | undefined>>): Ran;
  /** The same, without waiting for its end. */
  start(
    words: readonly string[],
    env?: Readonly<Record<string, string | undefined>>,
  ): ReturnType<typeof spawn>;
  /** Replaces text of a file; it must be there. */
  change(file: string, from: string, to: string): void;
  remove(): void;
}

export function makeWorkspace(): Workspace {
  const folder = mkdtempSync('/tmp/quern-e2e-');
  cpSync(join(import.meta.dirname, 'otter-bank'), folder, { recursive: true });
  rmSync(join(folder, 'gauge-station.lock.json'), { force: true });
  const env = { ...process.env, QUERN_STORE: join(testCache(), 'store'), NO_COLOR: '1' };
  const path = (...parts: string[]): string => join(folder, ...parts);
  return {
    folder,
    env,
    spec: 'gauge-station.yaml',
    path,
    quern: (words, more = {}) => {
      const { status, stdout, stderr } = spawnSync(process.execPath, [builtCli(), ...words], {
        cwd: folder,
        env: { ...env, ...more },
        encoding: 'utf8',
        maxBuffer: 64 * 1024 * 1024,
      });
      return { status, stdout, stderr };
    },
    start: (words, more = {}) =>
      spawn(process.execPath, [builtCli(), ...words], {
        cwd: folder,
        env: { ...env, ...more },
        stdio: 'pipe',
      }),
    change: (file, from, to) => {
      const text = readFileSync(path(file), 'utf8');
      if (!text.includes(from)) throw new Error(`${file} does not have ${JSON.stringify(from)}`);
      writeFileSync(path(file), text.replace(from, to));
    },
    remove: () => rmSync(folder, { recursive: true, force: true }),
  };
}

/** Runs a program where there is no network but what a socket in the file system leads to. */
export function withoutNetwork(
  words: readonly string[],
  cwd: string,
  env: Readonly<Record<string, string | undefined>>,
): Ran {
  const { status, stdout, stderr } = spawnSync('unshare', ['-rn', ...words], {
    cwd,
    env,
    encoding: 'utf8',
    maxBuffer: 64 * 1024 * 1024,
  });
  return { status, stdout, stderr };
}

/** What a program that was started has left when it has ended. */
export function ended(child: ReturnType<typeof spawn>): Promise<Ran> {
  return new Promise((resolve, reject) => {
    const said = { stdout: '', stderr: '' };
    for (const name of ['stdout', 'stderr'] as const)
      child[name]?.on('data', (chunk: Buffer) => (said[name] += chunk.toString()));
    child.on('error', reject);
    child.on('close', (status) => resolve({ status, ...said }));
  });
}
