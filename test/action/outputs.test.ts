import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, describe, expect, it, vi } from 'vitest';

import { buildOutputs, writeOutputs } from '../../action/outputs.ts';
import { entriesIn } from './runner.ts';
import { booted, built, failed, verdict } from './reports.ts';

afterEach(() => vi.unstubAllEnvs());

const outputsOf = (...args: Parameters<typeof buildOutputs>): Readonly<Record<string, string>> =>
  Object.fromEntries(buildOutputs(...args));

describe('outputs', () => {
  it('of a build that boots', () => {
    expect(outputsOf(booted)).toEqual({
      outcome: 'ok',
      'exit-code': '0',
      verdicts: '{"kept":2}',
      kept: '2',
      'not-kept': '0',
      folder: 'kernel',
      'kernel-release': '6.1.0-gauge',
      'build-stamp': '#1 Thu Jan  1 00:00:00 UTC 2026',
      image: 'bzImage',
      'image-sha256': 'a'.repeat(64),
      checksums: `${'a'.repeat(64)}  bzImage\n${'b'.repeat(64)}  System.map\n`,
      booted: 'true',
    });
  });

  it('of a build that was not booted say nothing of booting', () => {
    expect(outputsOf(built)).not.toHaveProperty('booted');
  });

  it('of a kernel that panics', () => {
    const proof = booted.booted;
    if (!proof) throw new Error('no proof');
    const report = { ...booted, exit: 1 as const, booted: { ...proof, verdict: 'panic' as const } };
    expect(outputsOf(report)).toMatchObject({ outcome: 'no', booted: 'false', folder: 'kernel' });
  });

  it.each([
    [0, 'ok'],
    [1, 'no'],
    [2, 'usage'],
    [3, 'missing'],
    [4, 'input'],
    [70, 'bug'],
    [130, 'interrupted'],
  ] as const)('of a job that ends with %i', (exit, outcome) => {
    expect(outputsOf({ ...failed, exit })).toEqual({ outcome, 'exit-code': String(exit) });
  });

  it('count the verdicts of a check', () => {
    const verdicts = ['kept', 'dropped', 'kept', 'lowered', 'dropped'] as const;
    const checked = {
      name: 'gauge',
      pinned: true,
      assumed: false,
      verdicts: verdicts.map((kind) => verdict(kind)),
    };
    expect(outputsOf({ ...failed, exit: 1, checked })).toEqual({
      outcome: 'no',
      'exit-code': '1',
      verdicts: '{"kept":2,"dropped":2,"lowered":1}',
      kept: '2',
      'not-kept': '3',
    });
  });

  it('reach the runner as they are, over several lines and with anything in them', () => {
    const folder = mkdtempSync('/tmp/quern-outputs-');
    const file = join(folder, 'output');
    writeFileSync(file, '');
    vi.stubEnv('GITHUB_OUTPUT', file);
    const values = new Map([
      ['checksums', 'a\nb\n'],
      ['folder', 'x\nevil=1\nEOF\nevil<<EOF\n1\nEOF\nghadelimiter_'],
      ['outcome', ''],
      ['image', 'a=b<<c'],
    ]);
    writeOutputs(values);
    expect(entriesIn(readFileSync(file, 'utf8'))).toEqual(values);
    rmSync(folder, { recursive: true });
  });
});
