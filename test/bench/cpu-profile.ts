import { spawnSync } from 'node:child_process';
import { mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import * as z from 'zod';

import type { Start } from './first-output.ts';

/** What is used of a CPU profile of V8 (chromedevtools.github.io/devtools-protocol, `Profiler.Profile`). */
export interface CpuProfile {
  readonly nodes: readonly {
    readonly id: number;
    readonly callFrame: { readonly functionName: string; readonly url: string };
    readonly children?: readonly number[] | undefined;
  }[];
  /** Ids of nodes. */
  readonly samples: readonly number[];
  /** Microseconds; each belongs to the sample at the same place. */
  readonly timeDeltas: readonly number[];
}

const profileSchema: z.ZodType<CpuProfile> = z.object({
  nodes: z.array(
    z.object({
      id: z.number(),
      callFrame: z.object({ functionName: z.string(), url: z.string() }),
      children: z.array(z.number()).optional(),
    }),
  ),
  samples: z.array(z.number()),
  timeDeltas: z.array(z.number()),
});

/** Runs a program of Node once more, with its profiler on, which makes it slower. */
export function profileOf({ command, cwd, env }: Start): CpuProfile {
  const folder = mkdtempSync(join(tmpdir(), 'quern-profile-'));
  try {
    const [program, ...args] = command;
    spawnSync(program, ['--cpu-prof', `--cpu-prof-dir=${folder}`, ...args], { cwd, env: { ...env } });
    const [file] = readdirSync(folder);
    if (file === undefined) throw new Error(`${command.join(' ')} left no profile`);
    return profileSchema.parse(JSON.parse(readFileSync(join(folder, file), 'utf8')));
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/**
 * Where the time went: milliseconds by place, the longest first. Work counts for the innermost package or file of ours
 * on the stack; what Node does to find, read and compile modules counts as such, whoever wanted them.
 */
export function timesByPlace({ nodes, samples, timeDeltas }: CpuProfile): ReadonlyMap<string, number> {
  const parents = new Map(
    nodes.flatMap(({ id, children = [] }) => children.map((child) => [child, id] as const)),
  );
  const frames = new Map(nodes.map(({ id, callFrame }) => [id, callFrame]));
  const times = new Map<string, number>();
  for (const [index, sample] of samples.entries()) {
    let place: string | undefined;
    for (let id: number | undefined = sample; id !== undefined && place === undefined; id = parents.get(id)) {
      const frame = frames.get(id);
      if (frame) place = placeOf(frame.functionName, frame.url);
    }
    const name = place ?? 'Node: everything else';
    times.set(name, (times.get(name) ?? 0) + (timeDeltas[index] ?? 0) / 1000);
  }
  return new Map([...times].toSorted(([, a], [, b]) => b - a));
}

function placeOf(functionName: string, url: string): string | undefined {
  if (functionName === '(garbage collector)') return 'garbage collection';
  if (functionName === '(idle)') return 'waiting';
  if (url.startsWith('node:internal/modules/')) return 'Node: finding, reading and compiling modules';
  if (url === '' || url.startsWith('node:')) return undefined;
  // packages and all, in one file
  if (url.endsWith('/action/dist/index.cjs')) return 'the bundle';
  return /^.*\/node_modules\/((?:@[^/]+\/)?[^/]+)/u.exec(url)?.[1] ?? 'Quern';
}
