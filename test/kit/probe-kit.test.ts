import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { writeFiles } from '../../src/host/output-folder.ts';
import { renderKit } from '../../src/kit/kit.ts';
import { probeTarFile, renderProbeKit, renderProbeScript } from '../../src/kit/probe-kit.ts';
import { answers, config, inputs, kitTemplates, plainPatches, spec } from './fixture.ts';

const templates = kitTemplates();
const tar = { sha256: 'e'.repeat(64), size: 4096 };
const text = (content: Uint8Array | undefined): string => Buffer.from(content ?? []).toString('utf8');

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'quern-probe-kit-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

describe('renderProbeKit', () => {
  const kit = renderProbeKit('gauge-station', inputs, tar, templates);

  it('has the questions in the place of the source', () => {
    const lines = text(kit.get('inputs.sha256')).trimEnd().split('\n');
    expect(lines[0]).toBe(`${tar.sha256}  ${probeTarFile}`);
    expect(lines).toHaveLength(1 + inputs.packages.length);
    expect(text(kit.get('run.sh'))).toContain(`source ${tar.sha256} 4096 ${probeTarFile}\n`);
    expect([...kit.keys()].sort()).toEqual([
      'Containerfile',
      'build.sh',
      'environment.sh',
      'inputs.sha256',
      'run.sh',
    ]);
  });

  it('makes the same environment as the kit that builds', () => {
    const built = renderKit(spec, { inputs, answers }, config, plainPatches([]), templates);
    for (const name of ['Containerfile', 'environment.sh']) expect(kit.get(name)).toEqual(built.get(name));
    const table = (files: typeof kit): readonly string[] =>
      text(files.get('run.sh')).match(/^(?:base|package) [0-9a-f]{64} .*$/gm) ?? [];
    expect(table(kit)).toEqual(table(built));
    expect(table(kit)).toHaveLength(inputs.packages.length);
  });

  it('passes shellcheck', async () => {
    await writeFiles(folder, kit);
    const scripts = ['run.sh', 'build.sh', 'environment.sh'];
    const { stdout, status } = spawnSync('shellcheck', ['--shell=sh', ...scripts], {
      cwd: folder,
      encoding: 'utf8',
    });
    expect(stdout).toBe('');
    expect(status).toBe(0);
  });
});

it('refuses a digest that is none', () => {
  expect(() => renderProbeScript(templates, "'; reboot")).toThrow('not a plain word');
});
