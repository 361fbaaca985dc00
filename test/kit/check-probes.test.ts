/** What a kit asks its environment again before it builds. */
import { spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { afterEach, beforeEach, expect, it } from 'vitest';

import { renderKit } from '../../src/kit/kit.ts';
import { answers, config, inputs, kitTemplates, patches, spec } from './fixture.ts';
import { shells, smallShell } from './workbench.ts';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'quern-probes-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

function check(shell: readonly string[], probes: Readonly<Record<string, string>>): [number | null, string] {
  const lock = { inputs, answers: { ...answers, probes } };
  const script = join(folder, 'check-probes.sh');
  writeFileSync(
    script,
    renderKit(spec, lock, config, patches, kitTemplates()).get('check-probes.sh') ?? new Uint8Array(),
  );
  const tree = join(folder, 'linux');
  mkdirSync(tree, { recursive: true });
  const [program = '', ...words] = shell;
  const { status, stdout, stderr } = spawnSync(program, [...words, script], {
    cwd: tree,
    env: { PATH: process.env['PATH'], JOBS: '3', LC_ALL: 'C' },
    encoding: 'latin1',
  });
  expect(stderr).toBe('');
  return [status, stdout];
}

it.each([...shells, smallShell])('is content when the answers are the same: %s', (...shell) => {
  const own = {
    ...answers.probes,
    'echo "${JOBS-none} ${LC_ALL-none} $LANG"': 'none none C',
    "printf '\\344'": '\xe4',
    "echo '\xe4'": '\xe4',
    'read line || echo nothing': 'nothing',
    'echo >&2 aside': '',
    'yes | head -c 5000 | tr -d "\\n"': 'y'.repeat(2500),
    'head -c 9999 /dev/zero | tr "\\0" x': 'x'.repeat(4095),
  };
  expect(check(shell, own)).toEqual([0, '']);
});

it.each([...shells, smallShell])('shows each answer that is another one: %s', (...shell) => {
  const [status, said] = check(shell, { 'echo "$CC"': 'clang', 'echo y': 'n', 'echo same': 'same' });
  expect(status).toBe(1);
  expect(said).toBe(
    'echo "$CC"\n  when it was pinned: clang\n  here:               gcc\n' +
      'echo y\n  when it was pinned: n\n  here:               y\n',
  );
});
