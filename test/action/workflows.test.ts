/** `action.yml` and the workflows: what others' programs say of them, and that they keep our own rules. */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { load } from 'js-yaml';
import { describe, expect, it } from 'vitest';
import * as z from 'zod';

import { inputNames, jobs } from '../../action/inputs.ts';
import { buildOutputs } from '../../action/outputs.ts';
import { engineNames } from '../../src/container/engine-names.ts';
import { exitCodes } from '../../src/diagnostics/diagnostic.ts';
import { packageRoot } from '../../src/host/package-root.ts';
import { booted } from './reports.ts';

const root = packageRoot();
const read = (path: string): string => readFileSync(join(root, path), 'utf8');
const workflows = readdirSync(join(root, '.github/workflows')).map((name) => `.github/workflows/${name}`);

/** Referee: the validator of the npm package of that name, which holds the published schemas. */
function validate(path: string): { readonly status: number | null; readonly said: string } {
  const { status, stderr } = spawnSync(join(root, 'node_modules/.bin/action-validator'), [path], {
    encoding: 'utf8',
  });
  return { status, said: stderr };
}

const action = z
  .object({
    inputs: z.record(z.string(), z.object({ description: z.string(), default: z.string().optional() })),
    outputs: z.record(z.string(), z.object({ description: z.string() })),
    runs: z.object({ using: z.string(), main: z.string() }),
  })
  .parse(load(read('action.yml')));

describe('action.yml', () => {
  it('passes a validator, but for a Node that is newer than the validator', () => {
    const first = validate(join(root, 'action.yml'));
    // Its schema ends with node20; with that in its place there is nothing to object to.
    if (first.status !== 0) expect(first.said).toContain('"path": "/runs/using"');
    const folder = mkdtempSync('/tmp/quern-validate-');
    const path = join(folder, 'action.yml');
    writeFileSync(path, read('action.yml').replace('using: node24', 'using: node20'));
    expect(validate(path)).toEqual({ status: 0, said: '' });
    writeFileSync(path, read('action.yml').replace('using: node24', 'using: node24x'));
    expect(validate(path).status).toBe(1);
    rmSync(folder, { recursive: true });
  });

  it('runs the bundle by Node 24', () => {
    expect(action.runs).toEqual({ using: 'node24', main: 'action/dist/index.cjs' });
  });

  it('has the inputs that are read, in the same order', () => {
    expect(Object.keys(action.inputs)).toEqual([...inputNames]);
    const { spec, job, output, engine, artifact } = action.inputs;
    expect([job?.default, output?.default, engine?.default, artifact?.default]).toEqual([
      'check',
      'kernel',
      '',
      'kernel',
    ]);
    expect(spec).not.toHaveProperty('default');
    for (const name of jobs) expect(job?.description).toContain(`\`${name}\``);
    for (const name of engineNames) expect(engine?.description).toContain(`\`${name}\``);
  });

  it('has the outputs that are written', () => {
    const written = [...buildOutputs(booted).keys(), 'artifact-id', 'artifact-sha256'];
    expect(Object.keys(action.outputs).toSorted()).toEqual(written.toSorted());
    for (const name of Object.keys(exitCodes)) {
      expect(action.outputs['outcome']?.description).toContain(`\`${name}\``);
    }
  });

  it('is told of in the README, with all inputs and outputs', () => {
    const readme = read('README.md');
    const names = [...inputNames, ...Object.keys(action.outputs)];
    expect(names.filter((name) => !readme.includes(`\`${name}\``))).toEqual([]);
  });
});

const workflow = z.object({
  permissions: z.record(z.string(), z.string()),
  on: z.unknown(),
  jobs: z.record(
    z.string(),
    z.object({
      permissions: z.record(z.string(), z.string()),
      'timeout-minutes': z.number(),
      steps: z.array(
        z.object({ uses: z.string().optional(), run: z.string().optional(), with: z.unknown().optional() }),
      ),
    }),
  ),
});

describe.each(workflows)('%s', (path) => {
  const { permissions, jobs: all, on } = workflow.parse(load(read(path)));
  const steps = Object.values(all).flatMap((job) => job.steps);

  it('passes a validator', () => {
    expect(validate(join(root, path))).toMatchObject({ status: 0 });
  });

  it('grants nothing at its top, and reading in its jobs', () => {
    expect(permissions).toEqual({});
    for (const job of Object.values(all)) expect(job.permissions).toEqual({ contents: 'read' });
  });

  it('runs no code of a pull request with the rights of the repository', () => {
    expect(JSON.stringify(on)).not.toContain('pull_request_target');
  });

  it('names the actions of others by commit, with the version beside it', () => {
    const uses = [...read(path).matchAll(/^\s*(?:- )?uses: (.*)$/gmu)].map(([, text = '']) => text);
    expect(uses.length).toBe(steps.filter((one) => one.uses !== undefined).length);
    for (const text of uses)
      expect(text).toMatch(/^(?:\.\/|[\w.-]+\/[\w.-]+@[0-9a-f]{40} # v\d+\.\d+\.\d+)$/u);
  });

  it('hands nothing of an event or a step to a shell but through the environment', () => {
    for (const { run = '' } of steps) expect(run).not.toContain('${{');
  });

  it('leaves no token behind in the checkout', () => {
    for (const { uses = '', with: given } of steps) {
      if (uses.startsWith('actions/checkout@')) expect(given).toMatchObject({ 'persist-credentials': false });
    }
  });
});

it('there are workflows, one of them for Node 20, 22 and 24', () => {
  expect(workflows).toContain('.github/workflows/ci.yml');
  expect(read('.github/workflows/ci.yml').match(/node: \['20', '22', '24'\]/gu)).toHaveLength(2);
});
