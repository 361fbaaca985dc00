import { tmpdir } from 'node:os';

import { describe, expect, it } from 'vitest';

import type { EngineApi } from './engine-api.ts';
import { measurePhase, type Measured } from './measure-phase.ts';

/** An engine whose container uses three seconds between two looks at it, one of them in the kernel. */
function fakeEngine(): EngineApi {
  let looks = 0;
  return {
    findBuild: () => Promise.reject(new Error('not asked for here')),
    createLike: () => Promise.reject(new Error('not asked for here')),
    cpuOf: (container) => {
      expect(container).toBe('gauge');
      looks += 1;
      return Promise.resolve({ total: 3 * looks, user: 2 * looks, system: looks });
    },
  };
}

function measure(script: string): Promise<Measured> {
  const marks = { begin: /^begin$/u, end: /^end$/u, container: () => Promise.resolve('gauge') };
  const options = { cwd: tmpdir(), signal: new AbortController().signal };
  return measurePhase(['sh', '-c', script], marks, fakeEngine(), options);
}

describe('a phase', () => {
  it('lies between the two lines: what is before and behind it does not count', async () => {
    const phase = await measure('sleep 0.5; echo begin; sleep 1; echo end; sleep 0.5; echo rest');
    expect(phase).toMatchObject({
      container: { total: 3, user: 2, system: 1 },
      output: 'begin\nend\nrest\n',
    });
    expect(phase.wall).toBeGreaterThan(0.4);
  });

  it('counts what the program itself works', async () => {
    const busy = 'i=0; while [ $i -lt 300000 ]; do i=$((i + 1)); done';
    const phase = await measure(`echo begin; ${busy}; echo end; sleep 1`);
    expect(phase.client).toBeGreaterThan(0.05);
  });

  it.each([
    ['a program that fails', 'echo begin; echo end; echo why >&2; exit 3', /ended with 3:\nwhy/u],
    ['a beginning that never comes', 'echo end', /never said .*begin/u],
    ['an end that never comes', 'echo end; echo begin', /never said .*end/u],
  ])('of %s says nothing', async (_, script, message) => {
    await expect(measure(script)).rejects.toThrow(message);
  });
});
