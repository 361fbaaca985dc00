import { EventEmitter } from 'node:events';

import { describe, expect, it } from 'vitest';

import { Interrupted, watchInterrupts } from '../../src/host/interrupt.ts';
import { run } from '../../src/host/processes.ts';

describe('interrupts', () => {
  it.each(['SIGINT', 'SIGTERM', 'SIGHUP'] as const)('%s aborts, and says which signal it was', (name) => {
    const source = new EventEmitter();
    const { signal } = watchInterrupts(source, () => expect.unreachable());
    source.emit(name, name);
    expect(signal.reason).toBeInstanceOf(Interrupted);
    expect(signal.reason).toMatchObject({ signal: name, message: `interrupted by ${name}` });
  });

  it('the second one kills what runs, then leaves the end to the caller', async () => {
    const source = new EventEmitter();
    const seconds: string[] = [];
    const { signal } = watchInterrupts(source, (name) => seconds.push(name));
    const work = run('sh', ['-c', 'trap "" TERM INT; echo ready; while :; do sleep 0.05; done'], {
      signal,
      onLine: () => {
        source.emit('SIGINT', 'SIGINT');
        source.emit('SIGTERM', 'SIGTERM');
      },
    });
    await expect(work).rejects.toBeInstanceOf(Interrupted);
    expect(seconds).toEqual(['SIGTERM']);
    expect(signal.reason).toMatchObject({ signal: 'SIGINT' });
  });

  it('stops watching', () => {
    const source = new EventEmitter();
    watchInterrupts(source, () => undefined).dispose();
    expect(source.eventNames()).toEqual([]);
  });
});
