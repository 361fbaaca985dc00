import { mark } from './boot-script.ts';

/** How the emulator ended. */
export type EmulatorEnd =
  | {
      readonly kind: 'exited';
      readonly code: number | null;
      /** What it said on stderr. */ readonly said: string;
    }
  /** It was stopped because the time was over. */
  | { readonly kind: 'timed-out' }
  /** It was stopped because the console grew without end. */
  | { readonly kind: 'flooded' };

export interface LoadedModule {
  /** Name of the file within the initial file system. */
  readonly file: string;
  readonly loaded: boolean;
  /** What insmod said; empty when it loaded. */
  readonly said: string;
}

/** What the check inside the kernel reported. */
export interface BootReport {
  readonly release: string;
  readonly version: string;
  /** SHA-256 of the embedded configuration; absent when there is none. */
  readonly config?: string;
  readonly modules: readonly LoadedModule[];
}

export type BootVerdict =
  | { readonly kind: 'booted'; readonly report: BootReport }
  | { readonly kind: 'panic'; /** The line that says so. */ readonly line: string }
  | { readonly kind: 'hang'; /** The last line of the console. */ readonly last: string }
  | { readonly kind: 'silent' }
  | { readonly kind: 'restarted'; readonly last: string }
  | { readonly kind: 'flooded'; readonly last: string }
  | { readonly kind: 'emulator-failed'; readonly code: number | null; readonly said: string };

export interface ConsoleReading {
  readonly verdict: BootVerdict;
  /** Lines in which the kernel reports a fault of its own and goes on; ten at most. */
  readonly complaints: readonly string[];
}

/** kernel/panic.c. With `panic=-1` no "end Kernel panic" line follows it. */
const panicShape = /Kernel panic - not syncing/;

/** Shapes of lib/bug.c, arch/x86/kernel/dumpstack.c and traps.c, with or without PRINTK_TIME. */
const complaintShape =
  /^(?:\[ *\d+\.\d+\]\s*)?(?:WARNING: CPU|BUG: |Oops: |kernel BUG at |general protection fault)/;

const mostComplaints = 10;

/** Reads what came out of the serial console of a machine that has ended. */
export function readConsole(text: string, end: EmulatorEnd): ConsoleReading {
  const lines = text.replaceAll('\r', '').split('\n');
  return {
    verdict: judge(lines, end),
    complaints: lines.filter((line) => complaintShape.test(line)).slice(0, mostComplaints),
  };
}

/**
 * Booted is only what says so to the end, panics nowhere and ends the emulator properly: after a panic, too, it exits
 * with 0, since the machine restarts.
 */
function judge(lines: readonly string[], end: EmulatorEnd): BootVerdict {
  const panic = lines.find((line) => panicShape.test(line));
  if (panic !== undefined) return { kind: 'panic', line: panic.trim() };
  const last = lines.findLast((line) => line.trim() !== '')?.trim();
  switch (end.kind) {
    case 'flooded':
      return { kind: 'flooded', last: last ?? '' };
    case 'timed-out':
      return last === undefined ? { kind: 'silent' } : { kind: 'hang', last };
    case 'exited': {
      if (end.code !== 0) return { kind: 'emulator-failed', code: end.code, said: end.said.trim() };
      if (last === undefined) return { kind: 'silent' };
      const report = readReport(lines);
      return report ? { kind: 'booted', report } : { kind: 'restarted', last };
    }
  }
}

const resultShape = /^module (?<file>\S+) (?<result>loaded|failed)(?: (?<said>.*))?$/;

function readReport(lines: readonly string[]): BootReport | undefined {
  const facts = lines.flatMap((line) => {
    const at = line.indexOf(mark);
    return at < 0 ? [] : [line.slice(at + mark.length).trimEnd()];
  });
  const find = (key: string): string | undefined =>
    facts.find((fact) => fact.startsWith(`${key} `))?.slice(key.length + 1);
  const release = find('release');
  const version = find('version');
  const config = find('config');
  if (release === undefined || version === undefined || config === undefined || !facts.includes('end'))
    return undefined;
  const modules = facts.flatMap((fact) => {
    const { file, result, said } = resultShape.exec(fact)?.groups ?? {};
    return file === undefined ? [] : [{ file, loaded: result === 'loaded', said: said ?? '' }];
  });
  return { release, version, ...(config !== 'none' && { config }), modules };
}
