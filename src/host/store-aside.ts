/**
 * Files on their way into the store. Their names tell which process writes them, so that what one that was killed has left
 * can be told from what another one is writing at this moment.
 */
import { createHash, randomBytes } from 'node:crypto';
import { readFileSync, readlinkSync } from 'node:fs';
import { hostname } from 'node:os';

const prefix = '.incoming-';
/** Nothing takes a day to come in. Of a process in another container or on another machine nothing else is known. */
const longest = 24 * 3600 * 1000;

/** A name that no other process takes. */
export function asideName(): string {
  return `${prefix}${processMark()}-${randomBytes(8).toString('hex')}`;
}

/** Stands for this process. */
export function processMark(): string {
  return `${here()}-${process.pid}`;
}

/** Whether the process is known to have ended that a mark stands for. */
export function isOfEndedProcess(mark: string): boolean {
  const [, place, pid] = /^([0-9a-f]{12})-(\d+)(?:-|$)/u.exec(mark) ?? [];
  return place === here() && !isRunning(Number(pid));
}

export function isAside(name: string): boolean {
  return name.startsWith(prefix);
}

/**
 * Whether a process that is no more has left the file.
 *
 * @param changed when it was written last, and `now`; milliseconds since 1970
 */
export function isLeftover(name: string, changed: number, now: number): boolean {
  if (now - changed > longest) return true;
  return isOfEndedProcess(name.slice(prefix.length));
}

let hereMark: string | undefined;

/** Stands for where the numbers of processes mean the same: this boot, and this PID namespace (pid_namespaces(7)). */
function here(): string {
  hereMark ??= createHash('sha256')
    .update(
      `${read(() => readFileSync('/proc/sys/kernel/random/boot_id', 'utf8'))} ${read(() => readlinkSync('/proc/self/ns/pid'))}`,
    )
    .digest('hex')
    .slice(0, 12);
  return hereMark;
}

/** Where there is no /proc, there are no such namespaces either. */
function read(from: () => string): string {
  try {
    return from();
  } catch {
    return hostname();
  }
}

function isRunning(pid: number): boolean {
  try {
    return process.kill(pid, 0);
  } catch (error) {
    return !(error instanceof Error && 'code' in error && error.code === 'ESRCH');
  }
}
