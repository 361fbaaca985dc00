import { spawn } from 'node:child_process';
import {
  chmodSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { delimiter, join } from 'node:path';

import { writeFiles } from '../../src/host/output-folder.ts';
import { renderKit } from '../../src/kit/kit.ts';
import type { Inputs } from '../../src/spec/lock.ts';
import { answers, config, inputs, kitTemplates, patches, sha256, spec } from './fixture.ts';

export interface Ended {
  readonly status: number | null;
  readonly stdout: string;
  readonly stderr: string;
}

/** A folder in which a kit is run, with a stand-in for the container engine. */
export interface Workbench {
  readonly folder: string;
  /** What the stand-in for the engine keeps: `image` (there is one), `out/` (of the build), `status` (of the build). */
  readonly state: string;
  path(...parts: readonly string[]): string;
  write(name: string, content: string | Uint8Array): void;
  program(name: string, script: string): void;
  /** Runs the kit's `run.sh`, in the folder and with its programs first in PATH. */
  run(words: readonly string[], more?: RunOptions): Promise<Ended>;
  /** The argument lists that the engine was called with. */
  calls(): readonly (readonly string[])[];
  remove(): void;
}

export interface RunOptions {
  readonly shell?: readonly string[];
  readonly env?: Readonly<Record<string, string>>;
  readonly cwd?: string;
}

/** The shells that a kit meets: Debian's, and the one of most other systems. */
export const shells: readonly (readonly string[])[] = [['dash'], ['bash', '--posix']];

/** That of the smallest systems; as Debian builds it, it takes its own `tar`, `wget`, `sha256sum` … before those in PATH. */
export const smallShell: readonly string[] = ['busybox', 'ash'];

/**
 * Answers as an engine does, in so far as a kit asks, and writes down what it was asked. With `held` it does
 * not come to the end of removing a volume, which `removed` tells; each file in `busy/` keeps it from that once.
 */
export function engineStandIn(state: string): string {
  return `#!/bin/sh
state='${state}'
{ printf '%s\\0' "$@"; printf '\\n'; } >>"$state/calls"
case "$1 $2" in
  'version --format') cat "$state/arch" 2>/dev/null || echo amd64 ;;
  'image inspect') [ -e "$state/image" ] ;;
  'volume inspect') [ -e "$state/volume" ] ;;
  'volume rm')
    while [ -e "$state/held" ]; do sleep 0.05; done
    for busy in "$state"/busy/*; do [ ! -e "$busy" ] || { rm "$busy"; exit 1; }; done
    : >"$state/removed" ;;
  build*) for context in "$@"; do :; done; cp "$context"/* "$state/"; : >"$state/image" ;;
  run*)
    case " $* " in
      *' tar -x '*) cat >"$state/in.tar" ;;
      *' tar -c '*) tar -c -C "$state/out" . ;;
      *' /build/kit/build.sh '*)
        [ ! -e "$state/wait" ] || { echo $$ >"$state/pid"; exec sleep 60; }
        exit "$(cat "$state/status" 2>/dev/null || echo 0)" ;;
    esac ;;
esac
`;
}

/** Inputs whose contents are the ones that the fixture pins: name in the inputs folder to content. */
export const fixtureInputs: ReadonlyMap<string, string> = new Map([
  ['linux-source-6.1_6.1.192-2_all.deb', 'source'],
  ['dash_0.5.12-2_amd64.deb', 'dash'],
  ['gcc_12.2.0-3+b1_amd64.deb', 'gcc'],
]);

/** @param change other inputs than the fixture's, for the kit in `kit/` of this folder */
export async function makeWorkbench(
  change: (folder: string) => Partial<Inputs> | Promise<Partial<Inputs>> = () => ({}),
): Promise<Workbench> {
  const folder = mkdtempSync(join(tmpdir(), 'quern-kit-'));
  const path = (...parts: readonly string[]): string => join(folder, ...parts);
  for (const name of ['bin', 'state', 'state/out', 'tmp']) mkdirSync(path(name));
  const bench: Workbench = {
    folder,
    state: path('state'),
    path,
    write: (name, content) => writeFileSync(path(name), content),
    program: (name, script) => {
      writeFileSync(path('bin', name), script);
      chmodSync(path('bin', name), 0o755);
    },
    run: (words, { shell = ['sh'], env = {}, cwd = folder } = {}) =>
      end([...shell, path('kit/run.sh'), ...words], cwd, {
        PATH: `${path('bin')}:${process.env['PATH'] ?? ''}`,
        TMPDIR: path('tmp'),
        ...env,
      }),
    calls: () => readCalls(path('state/calls')),
    remove: () => rmSync(folder, { recursive: true, force: true }),
  };
  bench.program('docker', engineStandIn(bench.state));
  const lock = { inputs: { ...inputs, ...(await change(folder)) }, answers };
  await writeFiles(path('kit'), renderKit(spec, lock, config, patches, kitTemplates()));
  return bench;
}

/** A PATH with the programs that a kit may call, as this machine has them, and without these. */
export function programsBut(bench: Workbench, without: readonly string[]): string {
  mkdirSync(bench.path('path'), { recursive: true });
  // also links that lead nowhere, of which a machine has some
  const done = new Set([...without, ...readdirSync(bench.path('path'))]);
  for (const folder of (process.env['PATH'] ?? '').split(delimiter).filter(existsSync)) {
    for (const name of readdirSync(folder)) {
      if (!done.has(name)) symlinkSync(join(folder, name), bench.path('path', name));
      done.add(name);
    }
  }
  return bench.path('path');
}

/** Lays a sound `out/` of a build down for the engine's stand-in. */
export function layArtefacts(bench: Workbench): void {
  bench.write('state/out/bzImage', 'image');
  bench.write('state/out/make.log.gz', 'log');
  bench.write('state/out/isolation', 'user=1000\n');
  bench.write('state/out/SHA256SUMS', `${sha256('image')}  bzImage\n`);
}

/** Lays the fixture's inputs down in the kit's own inputs folder. */
export function layInputs(bench: Workbench): void {
  mkdirSync(bench.path('kit/inputs'), { recursive: true });
  for (const [name, content] of fixtureInputs) bench.write(`kit/inputs/${name}`, content);
}

/** The argument lists in a log of lines whose words end in NUL. */
export function readCalls(log: string): readonly (readonly string[])[] {
  if (!existsSync(log)) return [];
  const lines = readFileSync(log, 'utf8').split('\0\n').slice(0, -1);
  return lines.map((line) => line.split('\0'));
}

function end(
  [program = '', ...words]: readonly string[],
  cwd: string,
  env: Record<string, string>,
): Promise<Ended> {
  return new Promise((resolve, reject) => {
    const child = spawn(program, words, { cwd, env, stdio: ['ignore', 'pipe', 'pipe'] });
    let stdout = '';
    let stderr = '';
    child.stdout.on('data', (chunk: Buffer) => (stdout += chunk.toString()));
    child.stderr.on('data', (chunk: Buffer) => (stderr += chunk.toString()));
    child.on('error', reject);
    child.on('close', (status) => resolve({ status, stdout, stderr }));
  });
}
