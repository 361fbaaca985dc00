import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { mkdirSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';

import { uploadFolder, type Patience } from '../../action/artifacts.ts';
import type { Host } from '../../src/host/host.ts';
import { noProgress } from '../../src/host/progress.ts';
import { Interrupted } from '../../src/host/interrupt.ts';
import { Store } from '../../src/host/store.ts';
import { startArtifactService, type ArtifactService, type Behaviour } from './artifact-service.ts';

const patience: Patience = { limit: 30_000, pauses: [10, 10] };
let folder: string;
let service: ArtifactService | undefined;
let printed: string;

beforeEach(() => {
  folder = mkdtempSync('/tmp/quern-artifacts-');
  mkdirSync(join(folder, 'out', 'kit'), { recursive: true });
  writeFileSync(join(folder, 'out', 'bzImage'), 'a kernel');
  writeFileSync(join(folder, 'out', 'kit', 'run.sh'), 'exit 0');
  symlinkSync('/etc/passwd', join(folder, 'out', 'passwd'));
  printed = '';
  vi.spyOn(process.stdout, 'write').mockImplementation((text) => {
    printed += String(text);
    return true;
  });
});
afterEach(async () => {
  vi.restoreAllMocks();
  vi.unstubAllEnvs();
  await service?.stop();
  service = undefined;
  rmSync(folder, { recursive: true, force: true });
});

const hostWith = (env: Host['env'], signal = new AbortController().signal): Host => {
  return {
    cwd: folder,
    env,
    now: () => new Date(),
    signal,
    progress: noProgress,
    store: new Store(join(folder, 'store')),
  };
};

const start = async (answers: Readonly<Record<string, readonly Behaviour[]>> = {}): Promise<Host> => {
  service = await startArtifactService(answers);
  const env = { ...service.env, GITHUB_WORKSPACE: folder, RUNNER_TEMP: folder };
  for (const [name, value] of Object.entries(env)) vi.stubEnv(name, value);
  vi.stubEnv('GITHUB_SERVER_URL', 'https://github.com');
  return hostWith(env);
};

const upload = { name: 'otter-bank', folder: 'out', retentionDays: 3 };

describe('the artifact service', () => {
  it('gets every plain file of the folder, and its answer is told', async () => {
    const host = await start();
    const { value, diagnostics } = await uploadFolder(upload, host, patience);
    expect(diagnostics).toEqual([]);
    const archive = service?.archive() ?? Buffer.alloc(0);
    expect(value).toEqual({ id: '42', sha256: createHash('sha256').update(archive).digest('hex') });
    expect(service?.bodies.get('CreateArtifact')).toMatchObject({ name: 'otter-bank', version: 7 });
    const { expires_at: expires } = service?.bodies.get('CreateArtifact') ?? {};
    const days = (Date.parse(String(expires)) - Date.now()) / 86_400_000;
    expect(days).toBeGreaterThan(2.9);
    expect(days).toBeLessThan(3.1);
    // referee: Info-ZIP; the link is not followed, nor is it there
    writeFileSync(join(folder, 'got.zip'), archive);
    const list = spawnSync('unzip', ['-Z1', join(folder, 'got.zip')], { encoding: 'utf8' });
    expect(list.stdout.trim().split('\n').sort()).toEqual(['bzImage', 'kit/run.sh']);
  });

  it('that answers 500 twice is asked a third time', { timeout: 60_000 }, async () => {
    const host = await start({ CreateArtifact: [500, 500, 'ok'] });
    const { value, diagnostics } = await uploadFolder(upload, host, patience);
    expect({ id: value?.id, diagnostics }).toEqual({ id: '42', diagnostics: [] });
    expect(service?.requests.slice(0, 3)).toEqual([
      'CreateArtifact 500',
      'CreateArtifact 500',
      'CreateArtifact ok',
    ]);
  });

  it('that refuses is a warning, and says where the build is', async () => {
    const host = await start({ CreateArtifact: [409] });
    const { value, diagnostics } = await uploadFolder(upload, host, patience);
    expect(value).toBeUndefined();
    expect(diagnostics).toMatchObject([{ code: 'action/artifact-failed', severity: 'warning', exit: 0 }]);
    expect(diagnostics[0]?.message).toMatch(/`otter-bank`.*409.*told to fail/u);
    expect(diagnostics[0]?.notes[0]).toContain('`out`');
  });

  it.each(['CreateArtifact', 'PutBlock', 'PutBlockList', 'FinalizeArtifact'])(
    'that never answers %s is waited for until the limit, and no longer',
    async (name) => {
      const host = await start({ [name]: ['hang'] });
      const began = performance.now();
      const { value, diagnostics } = await uploadFolder(upload, host, { limit: 1500, pauses: [] });
      expect(performance.now() - began).toBeLessThan(5000);
      expect(value).toBeUndefined();
      expect(diagnostics).toMatchObject([{ code: 'action/artifact-failed' }]);
      expect(diagnostics[0]?.message).toContain('did not finish within 2 s');
      expect(service?.requests.at(-1)).toBe(`${name} hang`);
    },
  );

  it("whose transfer stalls is given up by the client's own limit", async () => {
    const host = await start({ PutBlock: ['hang'] });
    vi.stubEnv('ACTIONS_ARTIFACT_UPLOAD_TIMEOUT_MS', '300');
    const { diagnostics } = await uploadFolder(upload, host, patience);
    expect(diagnostics[0]?.message).toMatch(/stalled/u);
  });

  it('that is not there is tried again, and then a warning', async () => {
    const host = await start();
    await service?.stop();
    service = undefined;
    const began = performance.now();
    const { diagnostics } = await uploadFolder(upload, host, { limit: 30_000, pauses: [200, 200] });
    expect(performance.now() - began).toBeGreaterThan(400);
    expect(diagnostics[0]?.message).toContain('ECONNREFUSED');
  });

  it('is not waited for by a run that is cancelled', async () => {
    const { env } = await start({ CreateArtifact: ['hang'] });
    const controller = new AbortController();
    setTimeout(() => controller.abort(new Interrupted('SIGINT')), 300);
    const began = performance.now();
    const ended = await uploadFolder(upload, hostWith(env, controller.signal), patience);
    expect(performance.now() - began).toBeLessThan(3000);
    expect(ended).toEqual({ diagnostics: [] });
  });

  it("has its address hidden by the runner's own means", async () => {
    const host = await start();
    await uploadFolder(upload, host, patience);
    expect(printed).toContain('::add-mask::secret');
  });

  it.each(['ACTIONS_RUNTIME_TOKEN', 'ACTIONS_RESULTS_URL'])('is not looked for without %s', async (name) => {
    const { env } = await start();
    const { value, diagnostics } = await uploadFolder(upload, hostWith({ ...env, [name]: '' }), patience);
    expect(value).toBeUndefined();
    expect(diagnostics).toMatchObject([{ code: 'action/no-artifact-service', severity: 'note' }]);
    expect(service?.requests).toEqual([]);
  });

  it('is not there on a server of its own, which is a warning', async () => {
    const host = await start();
    vi.stubEnv('GITHUB_SERVER_URL', 'https://git.otter-bank.example');
    const { diagnostics } = await uploadFolder(upload, host, patience);
    expect(diagnostics).toMatchObject([{ code: 'action/artifact-failed', severity: 'warning' }]);
  });

  it('gets nothing when the folder is gone', async () => {
    const host = await start();
    const { diagnostics } = await uploadFolder({ ...upload, folder: 'gone' }, host, patience);
    expect(diagnostics).toMatchObject([{ code: 'action/artifact-failed' }]);
    expect(service?.requests).toEqual([]);
  });
});
