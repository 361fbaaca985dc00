import { execFileSync } from 'node:child_process';
import { readdirSync, readFileSync } from 'node:fs';

/** What `/proc/PID/stat` says of one process. */
export interface ProcessTimes {
  readonly pid: number;
  readonly parent: number;
  /** User and system, its own and that of the children it has waited for, in clock ticks. */
  readonly ticks: number;
}

/** Reads a line of `/proc/PID/stat` (proc(5)): the second field is a name that may hold anything, blanks and `)` too. */
export function readTimes(line: string): ProcessTimes {
  const behindName = line.lastIndexOf(')');
  // from the third field on: state, ppid, …; utime, stime, cutime and cstime are the fields 14 to 17
  const fields = line
    .slice(behindName + 2)
    .trim()
    .split(' ')
    .map(Number);
  const [, parent = Number.NaN] = fields;
  const ticks = fields.slice(11, 15).reduce((sum, field) => sum + field, 0);
  const pid = Number.parseInt(line, 10);
  if (behindName < 0 || fields.length < 15 || ![pid, parent, ticks].every(Number.isInteger)) {
    throw new Error(`not a line of /proc/PID/stat: ${JSON.stringify(line)}`);
  }
  return { pid, parent, ticks };
}

/** The ticks of all processes below one, without its own. */
export function ticksBelow(pid: number, processes: readonly ProcessTimes[]): number {
  return processes
    .filter(({ parent }) => parent === pid)
    .reduce((sum, child) => sum + child.ticks + ticksBelow(child.pid, processes), 0);
}

/** Seconds of CPU, user and system, of all that this process has started and that still runs, and of what that started. */
export function cpuOfChildren(): number {
  const processes = readdirSync('/proc')
    .filter((name) => /^[0-9]+$/u.test(name))
    .flatMap((name) => {
      try {
        return [readTimes(readFileSync(`/proc/${name}/stat`, 'latin1'))];
      } catch (error) {
        if (isGone(error)) return [];
        throw error;
      }
    });
  ticksPerSecond ??= Number(execFileSync('getconf', ['CLK_TCK'], { encoding: 'utf8' }));
  return ticksBelow(process.pid, processes) / ticksPerSecond;
}

let ticksPerSecond: number | undefined;

/** It has ended since the folder was listed. */
function isGone(error: unknown): boolean {
  return error instanceof Error && 'code' in error && (error.code === 'ENOENT' || error.code === 'ESRCH');
}
