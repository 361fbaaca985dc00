/**
 * The bundle with a real engine, kernel and emulator, started as a runner starts it: a build that boots, one that
 * fails, one that is cancelled. The artifact service is a stand-in that speaks the real protocol to the real client.
 */
import { spawnSync } from 'node:child_process';
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';

import { afterAll, afterEach, beforeAll, expect, it } from 'vitest';

import { needEngine } from '../setup/engine.ts';
import { startArtifactService, type ArtifactService } from './artifact-service.ts';
import { ourTags, renderPage, tagsIn, textsOf } from './page.ts';
import { commandsIn } from './runner.ts';
import { startBundle } from './start-bundle.ts';
import { makeStepFolder, type StepFolder } from './workspace.ts';

needEngine();
let step: StepFolder;
let service: ArtifactService | undefined;
beforeAll(() => {
  step = makeStepFolder();
});
afterAll(() => step.remove());
afterEach(async () => {
  await service?.stop();
  service = undefined;
  for (const name of ['OUTPUT', 'STEP_SUMMARY']) writeFileSync(step.env[`GITHUB_${name}`] ?? '', '');
});

const spec = 'gauge-station.yaml';
const docker = (...args: string[]): string => spawnSync('docker', args, { encoding: 'utf8' }).stdout.trim();

/** Commands of the step without the client's own: what it has hidden, and what it says to who debugs. */
const told = (output: string): ReturnType<typeof commandsIn> =>
  commandsIn(output).filter(({ name }) => !['add-mask', 'debug'].includes(name));

it('builds and boots, and uploads to a service that answers 500 twice', async () => {
  service = await startArtifactService({ CreateArtifact: [500, 500, 'ok'] });
  const inputs = { spec, job: 'boot', output: 'kernel', artifact: 'otter-bank', 'retention-days': '3' };
  const { code, output } = await startBundle(step, inputs, service.env).end;
  expect({ code, output }).toMatchObject({ code: 0 });

  const outputs = Object.fromEntries(step.outputs());
  expect(outputs).toMatchObject({
    outcome: 'ok',
    folder: 'kernel',
    'kernel-release': expect.stringMatching(/^6\.1\.\d+-gauge$/u),
    'build-stamp': '#1 Thu Jan  1 00:00:00 UTC 2026',
    image: 'bzImage',
    'not-kept': '0',
    booted: 'true',
    'artifact-id': '42',
  });
  expect(outputs['checksums']).toBe(readFileSync(step.path('kernel', 'SHA256SUMS'), 'utf8'));
  // referee: GNU coreutils
  const sums = spawnSync('sha256sum', ['-c', '--strict', '-'], {
    cwd: step.path('kernel'),
    input: outputs['checksums'],
  });
  expect(sums.status).toBe(0);
  expect(step.strays()).toBe('');

  expect(told(output).map(({ name }) => name)).toEqual([
    'group',
    'stop-commands',
    'endgroup',
    'notice',
    'group',
    'endgroup',
  ]);
  // what the compiler says is in the log that is uploaded, not in the step's
  expect(output).not.toContain('init/main.o');

  const html = renderPage(step.summary());
  expect(textsOf(html, 'h2')[0]).toMatch(/^gauge-station: Linux 6\.1\.\d+-gauge is built, and boots$/u);
  expect([...tagsIn(html)].filter((tag) => !ourTags.has(tag))).toEqual([]);
  const [screen = ''] = step.summary().split('<details>');
  expect(screen.split('\n').filter((line) => line !== '').length).toBeLessThanOrEqual(25);

  expect(service.requests.slice(0, 3)).toEqual([
    'CreateArtifact 500',
    'CreateArtifact 500',
    'CreateArtifact ok',
  ]);
  expect(service.bodies.get('CreateArtifact')).toMatchObject({ name: 'otter-bank' });
  // referee: Info-ZIP
  writeFileSync(step.path('got.zip'), service.archive());
  const names = spawnSync('unzip', ['-Z1', step.path('got.zip')], { encoding: 'utf8' }).stdout.split('\n');
  for (const name of ['bzImage', 'SHA256SUMS', 'provenance.json', 'boot.log', 'kit/run.sh']) {
    expect(names).toContain(name);
  }
});

it('leaves nothing running when the run is cancelled', async () => {
  const containers = (): string => docker('ps', '-aq');
  const volumes = (): string => docker('volume', 'ls', '-q');
  const before = { containers: containers(), volumes: volumes() };
  const started = startBundle(step, { spec, job: 'build', output: 'again', artifact: '' });
  // far enough that a container is compiling
  while (!/^compiling/mu.test(started.output())) {
    if (started.child.exitCode !== null) throw new Error(started.output());
    await new Promise((resolve) => setTimeout(resolve, 500));
  }
  await new Promise((resolve) => setTimeout(resolve, 5000));
  const began = performance.now();
  started.child.kill('SIGINT');
  const { code, output } = await started.end;
  // a runner sends its next signal after seven and a half seconds
  expect(performance.now() - began).toBeLessThan(7500);
  expect(code).toBe(130);
  expect(step.outputs().get('outcome')).toBe('interrupted');
  expect(told(output).at(-1)).toMatchObject({ name: 'error', data: expect.stringContaining('SIGINT') });
  expect(containers()).toBe(before.containers);
  expect(readdirSync(step.workspace).filter((name) => name.includes('again'))).toEqual([]);
  // gigabytes that nobody waits for
  await expect.poll(volumes, { timeout: 300_000 }).toBe(before.volumes);
});

it('tells the first error of a build that fails, and is not held up by a service that never takes the log', async () => {
  const patch = step.path('patches', '0001-gauge-banner.patch');
  const text = readFileSync(patch, 'utf8');
  const broken = text.replace('pr_notice("Otter Bank river gauge\\n");', 'pr_notice("Otter Bank" gauge);');
  expect(broken).not.toBe(text);
  writeFileSync(patch, broken);
  const inputs = { spec, job: 'build', output: 'broken', lock: 'broken.lock.json', artifact: 'otter-bank' };

  service = await startArtifactService({ PutBlock: ['hang'] });
  const limit = { ACTIONS_ARTIFACT_UPLOAD_TIMEOUT_MS: '2000' };
  const { code, output } = await startBundle(step, inputs, { ...service.env, ...limit }).end;
  expect({ code, output }).toMatchObject({ code: 1 });
  const commands = told(output);
  expect(commands.find(({ name }) => name === 'error')).toMatchObject({
    properties: { title: 'container/does-not-compile' },
    data: expect.stringMatching(/init\/main\.c:\d+/u),
  });
  expect(commands.find(({ name }) => name === 'warning')).toMatchObject({
    properties: { title: 'action/artifact-failed' },
    data: expect.stringMatching(/`otter-bank-failed`.*stalled/u),
  });
  expect(service.bodies.get('CreateArtifact')).toMatchObject({ name: 'otter-bank-failed' });
  expect(step.outputs().get('outcome')).toBe('no');
  expect(step.outputs().has('folder')).toBe(false);
  expect(readdirSync(step.path('broken.failed')).sort()).toEqual(['failure.txt', 'kit', 'make.log.gz']);
  expect(textsOf(renderPage(step.summary()), 'h3')[0]).toMatch(/the kernel does not compile: init\/main\.c/u);
});
