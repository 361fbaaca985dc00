import { chmodSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import type { Host } from '../../src/host/host.ts';
import type { Progress } from '../../src/host/progress.ts';
import { Store } from '../../src/host/store.ts';

/** A host in a scratch folder of its own, whose programs are what a test says they are. */
export interface World {
  readonly folder: string;
  readonly host: Host;
  /** What progress was told, one entry a call. */
  readonly told: string[];
  /** Puts a shell script under a name into PATH. */
  program(name: string, script: string): void;
  interrupt(reason: Error): void;
  remove(): void;
}

export function makeWorld(env: Readonly<Record<string, string>> = {}): World {
  const folder = mkdtempSync(join(tmpdir(), 'quern-world-'));
  const bin = join(folder, 'bin');
  mkdirSync(bin);
  const told: string[] = [];
  const progress: Progress = {
    stage: (name) => void told.push(`stage ${name}`),
    advance: (done, total, unit) => void told.push(`advance ${done}/${total ?? '?'} ${unit}`),
    line: (text) => void told.push(`line ${text}`),
    end: () => void told.push('end'),
  };
  const controller = new AbortController();
  return {
    folder,
    told,
    host: {
      cwd: folder,
      // the servers of tests are on this machine
      env: { PATH: `${bin}:/usr/sbin:/usr/bin:/sbin:/bin`, QUERN_ALLOWED_HOSTS: '127.0.0.1', ...env },
      now: () => new Date(),
      signal: controller.signal,
      progress,
      store: new Store(join(folder, 'store')),
    },
    program: (name, script) => {
      writeFileSync(join(bin, name), `#!/bin/sh\n${script}\n`);
      chmodSync(join(bin, name), 0o755);
    },
    interrupt: (reason) => controller.abort(reason),
    remove: () => rmSync(folder, { recursive: true, force: true }),
  };
}
