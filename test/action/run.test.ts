import { mkdirSync, rmSync, writeFileSync } from 'node:fs';

import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';

import { stepLog } from '../../action/log.ts';
import { runStep } from '../../action/run.ts';
import type { JobCommands } from '../../action/run-job.ts';
import { BuildFailure } from '../../src/commands/build-failure.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import type { Diagnostic } from '../../src/diagnostics/diagnostic.ts';
import { Interrupted } from '../../src/host/interrupt.ts';
import { plainProgress } from '../../src/host/plain-progress.ts';
import { Store } from '../../src/host/store.ts';
import { startArtifactService, type ArtifactService } from './artifact-service.ts';
import { booted, built } from './reports.ts';
import { commandsIn } from './runner.ts';
import { inputVariables, makeStepFolder, type StepFolder } from './workspace.ts';

let step: StepFolder;
let service: ArtifactService | undefined;
let printed: string;
beforeEach(() => {
  step = makeStepFolder();
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
  step.remove();
});

const error: Diagnostic = { code: 'boot/panic', severity: 'error', exit: 1, message: 'it panics', notes: [] };
const warning: Diagnostic = { ...error, code: 'command/odd', severity: 'warning', message: 'odd' };

/** Commands that only note how they were called, and leave what a build would leave. */
function world(
  inputs: Readonly<Record<string, string>>,
  change: Partial<JobCommands> = {},
  signal: AbortSignal = new AbortController().signal,
): { readonly calls: readonly (readonly [string, unknown])[]; run(): Promise<number> } {
  const calls: [string, unknown][] = [];
  const env = { ...step.env, ...service?.env, ...inputVariables(inputs) };
  const noted: JobCommands = {
    check: async () => ({
      exit: 0,
      diagnostics: [],
      value: { name: 'gauge', pinned: true, assumed: false, verdicts: [] },
      text: 'gauge: all is well',
    }),
    assertBootable: async () => undefined,
    build: async () => {
      mkdirSync(step.path('kernel'));
      writeFileSync(step.path('kernel', 'bzImage'), 'a kernel');
      writeFileSync(step.path('kernel', 'summary.md'), '# the record\n');
      if (!built.built) throw new Error('no value');
      return { exit: 0, diagnostics: [warning], value: built.built };
    },
    boot: async () => {
      if (!booted.booted) throw new Error('no value');
      return { exit: 0, diagnostics: [], value: booted.booted };
    },
    ...change,
  };
  const noting =
    <Options, Host, Answer>(name: string, command: (options: Options, host: Host) => Answer) =>
    (options: Options, host: Host): Answer => {
      calls.push([name, options]);
      return command(options, host);
    };
  const commands: JobCommands = {
    check: noting('check', noted.check),
    assertBootable: noting('assertBootable', noted.assertBootable),
    build: noting('build', noted.build),
    boot: noting('boot', noted.boot),
  };
  return {
    calls,
    run: () => {
      for (const [name, value] of Object.entries(env)) vi.stubEnv(name, value);
      const log = stepLog(process.stdout);
      const host = {
        cwd: step.workspace,
        env,
        now: () => new Date(),
        signal,
        progress: plainProgress(log),
        store: new Store(step.path('store')),
      };
      return runStep({ host, log, commands, patience: { limit: 20_000, pauses: [] } });
    },
  };
}

const names = (): string[] => commandsIn(printed).map(({ name }) => name);

describe('a step', () => {
  it('checks: one group, what the command says, outputs and a page', async () => {
    const { run, calls } = world({ spec: 'gauge.yaml', lock: 'a.json' });
    expect(await run()).toBe(0);
    expect(calls).toEqual([['check', { spec: 'gauge.yaml', lock: 'a.json', probeHost: false }]]);
    expect(printed).toContain('gauge: all is well\n');
    expect(names()).toEqual(['group', 'stop-commands', 'endgroup']);
    expect(Object.fromEntries(step.outputs())).toEqual({ outcome: 'ok', 'exit-code': '0' });
    expect(step.summary()).toMatch(/^## gauge/u);
    expect(step.strays()).toBe('');
  });

  it('looks before it builds whether it could boot, then builds, boots and uploads', async () => {
    service = await startArtifactService();
    const { run, calls } = world({ spec: 'gauge.yaml', job: 'boot', jobs: '2', artifact: 'otter' });
    expect(await run()).toBe(0);
    expect(calls).toEqual([
      ['assertBootable', { spec: 'gauge.yaml', probeHost: false }],
      [
        'build',
        {
          spec: 'gauge.yaml',
          output: 'kernel',
          jobs: 2,
          keepTree: false,
          shellOnFailure: false,
        },
      ],
      ['boot', { folder: 'kernel' }],
    ]);
    expect(service.bodies.get('CreateArtifact')).toMatchObject({ name: 'otter' });
    expect(Object.fromEntries(step.outputs())).toMatchObject({
      outcome: 'ok',
      booted: 'true',
      'artifact-id': '42',
      'artifact-sha256': expect.stringMatching(/^[0-9a-f]{64}$/u),
    });
    expect(names().filter((name) => name !== 'add-mask' && name !== 'debug')).toEqual([
      'group',
      'stop-commands',
      'endgroup',
      'warning',
      'group',
      'endgroup',
    ]);
  });

  it('builds nothing that could not be booted here', async () => {
    const missing = { ...error, code: 'boot/no-busybox', exit: 3 } as const;
    const assertBootable = async (): Promise<void> => {
      throw new Failure(missing);
    };
    const { run, calls } = world({ spec: 'gauge.yaml', job: 'boot' }, { assertBootable });
    expect(await run()).toBe(3);
    expect(calls.map(([name]) => name)).toEqual(['assertBootable']);
    expect(step.outputs().get('outcome')).toBe('missing');
  });

  it('keeps, tells and uploads the build when booting fails', async () => {
    service = await startArtifactService();
    const boot: JobCommands['boot'] = async () => {
      throw new Failure(error);
    };
    const { run } = world({ spec: 'gauge.yaml', job: 'boot', artifact: 'otter' }, { boot });
    expect(await run()).toBe(1);
    expect(Object.fromEntries(step.outputs())).toMatchObject({
      outcome: 'no',
      folder: 'kernel',
      'image-sha256': 'a'.repeat(64),
      'artifact-id': '42',
    });
    expect(names()).toContain('error');
  });

  it('uploads the log of a build that failed, under a name that says so', async () => {
    service = await startArtifactService();
    const build: JobCommands['build'] = async () => {
      mkdirSync(step.path('kernel.failed'));
      writeFileSync(step.path('kernel.failed', 'make.log.gz'), 'the log');
      throw new BuildFailure([error], step.path('kernel.failed'), undefined);
    };
    const { run } = world({ spec: 'gauge.yaml', job: 'build', artifact: 'otter' }, { build });
    expect(await run()).toBe(1);
    expect(service.bodies.get('CreateArtifact')).toMatchObject({ name: 'otter-failed' });
  });

  it('uploads nothing when it is not asked to', async () => {
    service = await startArtifactService();
    expect(await world({ spec: 'gauge.yaml', job: 'build', artifact: '' }).run()).toBe(0);
    expect(service.requests).toEqual([]);
  });

  it('is no failure when the artifact service never answers', async () => {
    service = await startArtifactService({ CreateArtifact: ['hang'] });
    expect(await world({ spec: 'gauge.yaml', job: 'build', artifact: 'otter' }).run()).toBe(0);
    expect(commandsIn(printed).filter(({ name }) => name === 'warning')).toMatchObject([
      { properties: { title: 'command/odd' } },
      { properties: { title: 'action/artifact-failed' } },
    ]);
    expect(step.outputs().get('folder')).toBe('kernel');
    expect(step.summary()).toContain('6.1.0-gauge');
  });

  it('has its word on a pull request from a fork, where there is no service', async () => {
    expect(await world({ spec: 'gauge.yaml', job: 'build', artifact: 'otter' }).run()).toBe(0);
    expect(commandsIn(printed).filter(({ name }) => name === 'notice')).toMatchObject([
      { properties: { title: 'action/no-artifact-service' } },
    ]);
  });

  it('has its errors on their lines also when nothing can be written, as on a full disk', async () => {
    const { run } = world(
      { spec: 'gauge.yaml', artifact: '' },
      { check: () => Promise.reject(new Failure(error)) },
    );
    rmSync(step.env['GITHUB_OUTPUT'] ?? '');
    await expect(run()).rejects.toThrow('Missing file');
    expect(commandsIn(printed).find(({ name }) => name === 'error')?.data).toContain('it panics');
  });

  it('uploads the build also when its page cannot be written', async () => {
    service = await startArtifactService();
    rmSync(step.env['GITHUB_STEP_SUMMARY'] ?? '');
    await expect(world({ spec: 'gauge.yaml', job: 'build', artifact: 'otter' }).run()).rejects.toThrow(
      'STEP_SUMMARY',
    );
    expect(service.bodies.get('CreateArtifact')).toMatchObject({ name: 'otter' });
  });

  it('tells all that is wrong with its inputs, and calls nothing', async () => {
    const { run, calls } = world({ job: 'biuld', 'probe-host': 'true' });
    expect(await run()).toBe(2);
    expect(calls).toEqual([]);
    const titles = commandsIn(printed).map(({ properties }) => properties['title']);
    expect(titles).toEqual(['action/host-probing', 'action/missing-input', 'action/bad-input']);
    expect(step.outputs().get('outcome')).toBe('usage');
    expect(step.summary()).toMatch(/^## The inputs of this step/u);
  });

  it('that is cancelled ends at once, without a page and without an upload', async () => {
    service = await startArtifactService();
    const controller = new AbortController();
    const build: JobCommands['build'] = async () => {
      controller.abort(new Interrupted('SIGINT'));
      throw new Error('the pipe broke');
    };
    const { run } = world({ spec: 'gauge.yaml', job: 'build', artifact: 'o' }, { build }, controller.signal);
    expect(await run()).toBe(130);
    expect(service.requests).toEqual([]);
    expect(step.summary()).toBe('');
    expect(step.outputs().get('outcome')).toBe('interrupted');
  });

  it('says of a mistake of ours that it is one', async () => {
    const check: JobCommands['check'] = async () => {
      throw new TypeError('x is undefined');
    };
    expect(await world({ spec: 'gauge.yaml' }, { check }).run()).toBe(70);
    expect(commandsIn(printed).find(({ name }) => name === 'error')?.data).toMatch(/mistake of ours/u);
    expect(printed).not.toMatch(/^ +at /mu);
  });
});
