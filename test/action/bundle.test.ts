/** The committed bundle: that it is what the source gives, and what it does when it is started as a runner starts it. */
import { execFileSync } from 'node:child_process';
import { cpSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';

import { buildBundle } from '../../action/build/build-bundle.ts';
import { packageRoot } from '../../src/host/package-root.ts';
import { commandsIn } from './runner.ts';
import { startBundle } from './start-bundle.ts';
import { makeStepFolder, type StepFolder } from './workspace.ts';

const dist = join(packageRoot(), 'action', 'dist');

describe('action/dist', () => {
  let fresh: ReadonlyMap<string, Uint8Array>;
  beforeAll(async () => {
    fresh = await buildBundle();
  }, 120_000);

  it('holds what the build makes, and nothing else', () => {
    expect(readdirSync(dist).sort()).toEqual([...fresh.keys()].sort());
  });

  it.each(['index.cjs', 'licenses.txt'])('%s is up to date', (name) => {
    const content = fresh.get(name) ?? new Uint8Array();
    const same = Buffer.compare(readFileSync(join(dist, name)), content) === 0;
    expect(same ? '' : `action/dist/${name} is stale: run \`npm run build:action\` and commit it`).toBe('');
  });

  it('is no larger than the README says: about 3.2 MB', () => {
    const bytes = fresh.get('index.cjs')?.length ?? 0;
    expect(bytes, `the bundle has ${bytes} bytes`).toBeLessThan(3_100_000);
    expect(bytes, `the bundle has ${bytes} bytes`).toBeGreaterThan(1_000_000);
  });

  it('names every package that is in it, with the text of its licence', () => {
    const licences = Buffer.from(fresh.get('licenses.txt') ?? []).toString();
    for (const name of ['@actions/artifact', '@actions/core', 'handlebars', 'js-yaml', 'openpgp', 'zod']) {
      expect(licences).toMatch(new RegExp(`^${name} [0-9.]+ \\([A-Za-z0-9.+ ()-]+\\)$`, 'mu'));
    }
    const parts = licences.split(`${'-'.repeat(78)}\n`).slice(1);
    expect(parts.length).toBeGreaterThan(20);
    for (const part of parts) expect(part.length, part.slice(0, 200)).toBeGreaterThan(500);
  });
});

describe('the bundle, started as a runner starts it', () => {
  let step: StepFolder;
  beforeEach(() => {
    step = makeStepFolder();
  });
  afterEach(() => step.remove());

  const change = (from: string, to: string): void => {
    const text = readFileSync(step.path('gauge-station.yaml'), 'utf8');
    if (!text.includes(from)) throw new Error(`no ${from}`);
    writeFileSync(step.path('gauge-station.yaml'), text.replace(from, to));
  };

  it('finds a good spec in order', { timeout: 600_000 }, async () => {
    const { code, output } = await startBundle(step, { spec: 'gauge-station.yaml', job: 'check' }).end;
    expect(code).toBe(0);
    expect(output).toContain('gauge-station: 20 of 20 requests would be kept');
    expect(commandsIn(output).filter(({ name }) => ['error', 'warning'].includes(name))).toEqual([]);
    expect(Object.fromEntries(step.outputs())).toEqual({
      outcome: 'ok',
      'exit-code': '0',
      verdicts: '{"kept":20}',
      kept: '20',
      'not-kept': '0',
    });
    expect(step.summary()).toMatch(/^## gauge-station/u);
    expect(step.strays()).toBe('');
  });

  it('puts errors on the lines of the spec', async () => {
    change('name: gauge', 'nmae: gauge');
    change('arch: x86_64', 'arch: vax');
    const { code, output } = await startBundle(step, { spec: 'gauge-station.yaml' }).end;
    expect(code).toBe(2);
    const commands = commandsIn(output);
    expect(commands.filter(({ name }) => name === 'error').map(({ properties }) => properties)).toEqual([
      { title: 'spec/missing-key', file: 'gauge-station.yaml', line: '2', col: '1' },
      { title: 'spec/unknown-key', file: 'gauge-station.yaml', line: '3', col: '1' },
      { title: expect.stringMatching(/^spec\//u), file: 'gauge-station.yaml', line: '7', col: '7' },
    ]);
    expect(commands.map(({ name }) => name)).toEqual([
      'group',
      'stop-commands',
      'endgroup',
      'error',
      'error',
      'error',
    ]);
    expect(step.outputs().get('outcome')).toBe('usage');
    expect(step.summary()).toContain('## gauge-station.yaml&#58; not in order');
    expect(output).not.toMatch(/^ +at /mu);
  });

  it('refuses inputs that are wrong, all at once', async () => {
    const { code, output } = await startBundle(step, { job: 'biuld', 'probe-host': 'true' }).end;
    expect(code).toBe(2);
    expect(commandsIn(output).map(({ properties }) => properties['title'])).toEqual([
      'action/host-probing',
      'action/missing-input',
      'action/bad-input',
    ]);
  });

  it('says how to get an engine where there is none', async () => {
    const none = { PATH: '/nonexistent', DOCKER_HOST: 'unix:///nonexistent.sock' };
    const inputs = { spec: 'gauge-station.yaml', job: 'build', artifact: 'otter' };
    const { code, output } = await startBundle(step, inputs, none).end;
    expect(code).toBe(3);
    expect(commandsIn(output).find(({ name }) => name === 'error')?.data).toMatch(
      /no container engine is installed/u,
    );
    expect(step.outputs().get('outcome')).toBe('missing');
    expect(readdirSync(step.workspace)).not.toContain('kernel');
  });

  it('looks for the emulator before it builds', async () => {
    const inputs = { spec: 'gauge-station.yaml', job: 'boot' };
    const { code, output } = await startBundle(step, inputs, { PATH: '/nonexistent' }).end;
    expect(code).toBe(3);
    expect(commandsIn(output).find(({ name }) => name === 'error')?.data).toMatch(/qemu-system/u);
  });

  it('needs nothing of the repository but itself, the templates and package.json', async () => {
    const alone = mkdtempSync('/tmp/quern-alone-');
    for (const path of ['action/dist', 'templates', 'package.json']) {
      cpSync(join(packageRoot(), path), join(alone, path), { recursive: true });
    }
    const { code, output } = await startBundle(step, { spec: 'gauge-station.yaml' }, {}, alone).end;
    expect({ code, output }).toMatchObject({ code: 0 });
    rmSync(alone, { recursive: true });
  });

  it('runs on the lowest Node of the command line too', () => {
    const env = { ...step.env, PATH: process.env['PATH'], INPUT_SPEC: 'gauge-station.yaml' };
    execFileSync(process.execPath, [join(dist, 'index.cjs')], { cwd: step.workspace, env });
    expect(step.outputs().get('outcome')).toBe('ok');
  });

  it('ends in a sentence when the runner gives it no files to write to', async () => {
    const { code, output } = await startBundle(
      step,
      { spec: 'gauge-station.yaml' },
      { GITHUB_OUTPUT: '/nonexistent' },
    ).end;
    expect(code).toBe(70);
    expect(commandsIn(output).find(({ name }) => name === 'error')?.data).toContain('/nonexistent');
    expect(output).not.toMatch(/^ +at /mu);
  });
});
