/**
 * Hostile specs through the command line and, where the reader lets one pass, on into kit and shell: nothing of them
 * runs, leaves its folder or ends in a stack trace. The programs that the kit would call are stand-ins that do
 * nothing, so that whatever happens was done by a value of the spec.
 */
import { spawnSync } from 'node:child_process';
import { chmodSync, existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterAll, beforeAll, expect, it } from 'vitest';

import { main } from '../../src/cli/main.ts';
import { commands } from '../../src/commands/commands.ts';
import type { Host } from '../../src/host/host.ts';
import { writeFiles } from '../../src/host/output-folder.ts';
import { Store } from '../../src/host/store.ts';
import { renderKit, renderQuestions, type Files } from '../../src/kit/kit.ts';
import { readSpec } from '../../src/spec/read-spec.ts';
import { formatLock } from '../../src/spec/write-lock.ts';
import { readLock } from '../../src/spec/read-lock.ts';
import type { Spec } from '../../src/spec/spec.ts';
import { answers, config, inputs, kitTemplates, sha256 } from '../kit/fixture.ts';
import { hostileSpecs } from '../spec/hostile.ts';

/** What the payloads of `hostileSpecs` would leave behind if one of them ran. */
const canary = '/tmp/quern-was-here';

const specs = hostileSpecs(400, 20261125);
let folder: string;
let bin: string;
beforeAll(() => {
  rmSync(canary, { force: true });
  folder = mkdtempSync('/tmp/quern-hostile-');
  bin = join(folder, 'bin');
  mkdirSync(bin);
  for (const name of ['docker', 'curl', 'wget', 'make', 'patch', 'dpkg-deb', 'gcc', 'ld']) {
    writeFileSync(join(bin, name), '#!/bin/sh\nexit 1\n');
    chmodSync(join(bin, name), 0o755);
  }
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const snapshot = (): readonly string[] => readdirSync('/tmp').filter((name) => name.startsWith('quern-was'));

it('answers each of them with a sentence and an exit code of the contract, and writes nothing', async () => {
  expect(specs.length).toBeGreaterThanOrEqual(200);
  const place = join(folder, 'check');
  mkdirSync(place);
  for (const [index, spec] of specs.entries()) {
    const name = `${index}.yaml`;
    writeFileSync(join(place, name), spec);
    let told = '';
    const sink = { write: (text: string) => ((told += text), true), isTTY: false };
    const nothing = (): void => undefined;
    const host: Host = {
      cwd: place,
      env: { PATH: bin },
      now: () => new Date(),
      signal: new AbortController().signal,
      progress: { stage: nothing, advance: nothing, line: nothing, end: nothing },
      store: new Store(join(folder, 'store')),
    };
    for (const words of [
      ['check', name],
      ['check', name, '--json'],
      ['build', name, '-o', 'out'],
    ]) {
      const code = await main(words, { stdout: sink, stderr: sink, host }, commands);
      expect([0, 2, 3], `${words.join(' ')}: ${told}`).toContain(code);
    }
    expect(told).not.toMatch(/^\s+at .*:\d+:\d+\)?$/mu);
    // nothing that drives a terminal gets out of a diagnostic
    expect(told).not.toMatch(/[\x00-\x08\x0b-\x1f\x7f\u009b\u202e]/u);
    rmSync(join(place, name));
  }
  expect(readdirSync(place)).toEqual([]);
  expect(existsSync(join(folder, 'store'))).toBe(false);
  expect(snapshot()).toEqual([]);
}, 300_000);

const patchFiles = (spec: Spec): { path: string; sha256: string; content: Uint8Array }[] =>
  spec.patches.map((path) => ({ path, sha256: sha256(path), content: Buffer.from(path) }));

const render = (spec: Spec): readonly Files[] => {
  const patches = patchFiles(spec);
  const asked = Buffer.from(
    spec.config.set.map(({ option, value }) => `CONFIG_${option}=${value}\n`).join(''),
  );
  const requests = { sha256: sha256(asked), content: asked };
  const base = { sha256: sha256('base'), content: Buffer.from('base') };
  const lock = { inputs, answers };
  const templates = kitTemplates();
  return [
    renderKit(spec, lock, config, patches, templates),
    renderQuestions(
      spec,
      inputs,
      requests,
      spec.config.base.kind === 'file' ? base : undefined,
      patches,
      templates,
    ),
  ];
};

it('lets those that pass the reader into kit and shell, where they stay in their places', async () => {
  const accepted = specs.flatMap((text) => {
    const { value } = readSpec(text, 'spec.yaml');
    return value ? [value] : [];
  });
  expect(accepted.length).toBeGreaterThan(10);
  for (const [index, spec] of accepted.entries()) {
    for (const [kind, files] of render(spec).entries()) {
      const place = join(folder, `kit-${index}-${kind}`);
      await writeFiles(place, files);
      for (const name of files.keys()) {
        expect(name).toMatch(/^(?:[A-Za-z0-9.]+|patches\/\d{4}-[A-Za-z0-9._-]*)$/u);
      }
      for (const step of ['fetch', 'environment', 'build', 'shell x']) {
        const run = spawnSync('sh', ['-c', `sh run.sh ${step}`], {
          cwd: place,
          env: { PATH: `${bin}:${process.env['PATH']}`, TMPDIR: folder },
          encoding: 'utf8',
        });
        // every stand-in fails: so does the step, with a sentence
        expect([3, 4], run.stderr).toContain(run.status);
        expect(run.stderr).toMatch(/^run\.sh: /mu);
      }
      // the part of the inner script before anything is unpacked runs on this machine, with stand-ins for the rest
      const inner = spawnSync('sh', ['-n', 'build.sh'], { cwd: place, encoding: 'utf8' });
      expect(inner.stderr).toBe('');
      expect(inner.status).toBe(0);
      rmSync(place, { recursive: true });
    }
    const lock = formatLock({ lock: 1, spec, inputs: { ...inputs, patches: [], fragments: [] } });
    expect(() => readLock(lock, 'lock.json')).not.toThrow();
  }
  expect(snapshot()).toEqual([]);
}, 600_000);
