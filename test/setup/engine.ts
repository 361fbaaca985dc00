import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { homedir } from 'node:os';
import { join } from 'node:path';

/** Why there is no engine, for the workers; absent when there is one. */
const whyNot = 'QUERN_TEST_NO_ENGINE';

/** Where tests keep what is dear to make or to fetch again: QUERN_TEST_CACHE, else below ~/.cache. */
export function testCache(): string {
  return process.env['QUERN_TEST_CACHE'] ?? join(homedir(), '.cache', 'quern-test');
}

/**
 * Says that this test file needs a container engine: the set-up looks for this name in the files that are to run, and
 * starts an engine when none answers. Where to find it is in DOCKER_HOST, as for every client.
 */
export function needEngine(): void {
  const why = process.env[whyNot];
  if (why !== undefined) throw new Error(`this test needs a container engine: ${why}`);
}

/** Starts a private engine unless one answers; returns what stops it again. */
export function startEngine(): () => void {
  if (spawnSync('docker', ['version'], { timeout: 20_000 }).status === 0) return () => undefined;
  // Not below TMPDIR: sockets have short paths.
  const folder = mkdtempSync('/tmp/quern-engine-');
  const script = join(import.meta.dirname, 'engine.sh');
  const engine = (verb: string): { status: number | null; stdout: string; stderr: string } =>
    spawnSync('sh', [script, verb, folder], {
      encoding: 'utf8',
      env: { ...process.env, QUERN_ENGINE_DATA: join(testCache(), 'engine') },
    });
  const stop = (): void => {
    if (engine('stop').status === 0) rmSync(folder, { recursive: true, force: true });
  };
  const { status, stdout, stderr } = engine('start');
  if (status !== 0) {
    process.env[whyNot] = stderr.trim() || `the engine did not start (status ${status})`;
    return stop;
  }
  process.env['DOCKER_HOST'] = stdout.trim();
  return stop;
}
