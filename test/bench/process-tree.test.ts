import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { readFileSync } from 'node:fs';

import { describe, expect, it } from 'vitest';

import { cpuOfChildren, readTimes, ticksBelow } from './process-tree.ts';

const stat = (pid: number, name: string, parent: number, times: string): string =>
  `${pid} (${name}) S ${parent} 1 1 0 -1 4194560 100 200 0 0 ${times} 20 0 1 0 12345 1000000 500\n`;

describe('a line of /proc/PID/stat', () => {
  it.each(['sh', 'a b', 'a) S 1 2 (b', ')', ''])('is read, whatever the name: %j', (name) => {
    expect(readTimes(stat(42, name, 7, '1 20 300 4000'))).toEqual({ pid: 42, parent: 7, ticks: 4321 });
  });

  it('of this very process names its parent', () => {
    const own = readTimes(readFileSync('/proc/self/stat', 'latin1'));
    expect(own).toMatchObject({ pid: process.pid, parent: process.ppid });
  });

  it.each(['', '42 sh S 7', '42 (sh) S seven 1 1', '42 (sh) S 7 1 1 0 -1 4194560'])('is not %j', (line) => {
    expect(() => readTimes(line)).toThrow('not a line of /proc/PID/stat');
  });
});

describe('the time of what a process has started', () => {
  it('is that of all generations, and not its own', () => {
    const processes = [
      { pid: 1, parent: 0, ticks: 1000 },
      { pid: 5, parent: 1, ticks: 100 },
      { pid: 6, parent: 5, ticks: 10 },
      { pid: 7, parent: 6, ticks: 1 },
      { pid: 8, parent: 5, ticks: 20 },
      { pid: 9, parent: 1, ticks: 7000 },
    ];
    expect(ticksBelow(5, processes)).toBe(31);
    expect(ticksBelow(1, processes)).toBe(7131);
    expect(ticksBelow(8, processes)).toBe(0);
  });

  it('grows while a child of a child works', async () => {
    const before = cpuOfChildren();
    const child = spawn('sh', ['-c', 'sh -c "while :; do :; done"; :'], { detached: true });
    await once(child, 'spawn');
    try {
      await expect.poll(cpuOfChildren, { timeout: 20_000 }).toBeGreaterThan(before + 0.2);
    } finally {
      if (child.pid !== undefined) process.kill(-child.pid, 'SIGKILL');
    }
  });
});
