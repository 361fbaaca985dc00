/**
 * The whole job with the demo's kernel, as a user does it: one real pin, one real build, one real boot. The lock is
 * made afresh, so that the test does not break when the archive moves on.
 */
import { spawnSync } from 'node:child_process';
import { appendFileSync, cpSync, readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';

import { afterAll, beforeAll, describe, expect, it } from 'vitest';

import { faultsIn } from '../cli/printed-json.ts';
import { needEngine } from '../setup/engine.ts';
import { makeWorkspace, type Workspace } from './workspace.ts';

const minutes = 60_000;

let work: Workspace;
beforeAll(() => {
  needEngine();
  work = makeWorkspace();
});
afterAll(() => work.remove());

const json = (text: string): Record<string, unknown> => JSON.parse(text) as Record<string, unknown>;
const text = (...path: string[]): string => readFileSync(work.path(...path), 'utf8');

describe('the Otter Bank kernel', () => {
  it(
    'is pinned: every input by digest, every answer kept',
    () => {
      const ran = work.quern(['pin', work.spec]);
      expect(ran.stderr).not.toContain('error[');
      expect(ran.status).toBe(0);
      expect(ran.stdout).toMatch(/requests +20 of 20 kept/u);
      const lock = json(text('gauge-station.lock.json'));
      expect(lock).toMatchObject({
        lock: 1,
        answers: { kernelRelease: expect.stringMatching(/^6\.1\.\d+-gauge$/u), epoch: 1767225600 },
      });
    },
    20 * minutes,
  );

  it('is found in order by check, and pinned again in no time', () => {
    const before = text('gauge-station.lock.json');
    const checked = work.quern(['check', work.spec, '--json']);
    expect(checked.status).toBe(0);
    expect(json(checked.stdout)).toMatchObject({ pinned: true, diagnostics: [] });
    expect(faultsIn('check', checked.stdout)).toEqual([]);
    expect(work.quern(['pin', work.spec]).status).toBe(0);
    expect(text('gauge-station.lock.json')).toBe(before);
  });

  it(
    'is built, and the artefacts are what SHA256SUMS says',
    () => {
      const ran = work.quern(['build', work.spec, '-o', 'out', '--json']);
      expect(ran.stderr).not.toContain('error[');
      expect(ran.status).toBe(0);
      expect(json(ran.stdout)).toMatchObject({ folder: 'out', artefacts: expect.any(Array) });
      expect(faultsIn('build', ran.stdout)).toEqual([]);
      expect(readdirSync(work.path('out')).sort()).toEqual([
        'SHA256SUMS',
        'System.map',
        'bzImage',
        'kernel.config',
        'kit',
        'make.log.gz',
        'modules.tar.xz',
        'provenance.json',
        'summary.md',
      ]);
      // referee: GNU coreutils
      const sums = spawnSync('sha256sum', ['-c', '--strict', 'SHA256SUMS'], {
        cwd: work.path('out'),
        encoding: 'utf8',
      });
      expect(sums.status).toBe(0);
      expect(sums.stdout.trim().split('\n')).toHaveLength(4);
      expect(work.quern(['verify', 'out']).status).toBe(0);
    },
    30 * minutes,
  );

  it('was built without network, capabilities and a root to write to, as its record says', () => {
    const { predicate } = json(text('out', 'provenance.json')) as { predicate: { runDetails: unknown } };
    expect(predicate.runDetails).toMatchObject({
      quern_isolation: {
        network: 'none',
        capabilities: '0000000000000000',
        bounding: '0000000000000000',
        noNewPrivileges: true,
        rootReadOnly: true,
        user: 1000,
        memoryLimit: expect.stringMatching(/^\d+$/u),
        processLimit: expect.stringMatching(/^\d+$/u),
      },
    });
  });

  it('has the stamp, the time and the owner that were promised, and no time of today', () => {
    // referee: file(1) of Debian, which reads the header of a bzImage by its own rules
    const { stdout } = spawnSync('file', ['-b', work.path('out', 'bzImage')], { encoding: 'utf8' });
    expect(stdout).toMatch(
      /version 6\.1\.\d+-gauge \(gauge@otter-bank\) #1 Thu Jan {1,2}1 00:00:00 UTC 2026/u,
    );
    // referee: GNU tar
    const list = spawnSync('tar', ['-tvf', work.path('out', 'modules.tar.xz'), '--full-time', '--utc'], {
      encoding: 'utf8',
    });
    const lines = list.stdout.trim().split('\n');
    expect(lines.some((line) => line.includes('/lib/crc7.ko') || line.includes('lib/crc7.ko'))).toBe(true);
    for (const line of lines) expect(line).toMatch(/^[d-]\S+ 0\/0 +\d+ 2026-01-01 00:00:00 lib/u);
    const names = lines.map((line) => line.slice(line.indexOf(' lib') + 1));
    expect(names).toEqual([...names].sort());
  });

  it('keeps the whole log', () => {
    const log = gunzipSync(readFileSync(work.path('out', 'make.log.gz'))).toString();
    expect(log).toContain('  CC      init/main.o');
    expect(log).toContain('patching file init/main.c');
    expect(log).toMatch(/== built 6\.1\.\d+-gauge/u);
  });

  it(
    'boots, and is the kernel of the record',
    () => {
      const ran = work.quern(['boot', 'out', '--json']);
      expect(ran.stderr).not.toContain('error[');
      expect(ran.status).toBe(0);
      expect(json(ran.stdout)).toMatchObject({
        verdict: 'booted',
        release: expect.stringMatching(/-gauge$/u),
        config: 'same',
        modules: [
          { name: 'crc7', loaded: true },
          { name: 'crc8', loaded: true },
        ],
      });
      expect(faultsIn('boot', ran.stdout)).toEqual([]);
      // what the patch adds
      expect(text('out', 'boot.log')).toContain('Otter Bank river gauge');
      expect(work.quern(['verify', 'out']).status).toBe(0);
    },
    5 * minutes,
  );

  it('is seen to be altered when it is', () => {
    cpSync(work.path('out'), work.path('altered'), { recursive: true });
    appendFileSync(work.path('altered', 'bzImage'), ' ');
    const ran = work.quern(['verify', 'altered']);
    expect(ran.status).toBe(1);
    expect(ran.stderr).toContain('bzImage');
    expect(work.quern(['boot', 'altered']).status).not.toBe(0);
  });

  it(
    'is told to panic when its first program ends at once',
    () => {
      // a static program that is no busybox: the C library's own
      const ran = work.quern(['boot', 'out', '--busybox', '/sbin/ldconfig']);
      expect(ran.status).toBe(1);
      expect(ran.stderr).toMatch(/panic/iu);
    },
    5 * minutes,
  );

  it('comes as a kit as well, the very one that built it', () => {
    expect(work.quern(['kit', work.spec, '-o', 'kit']).status).toBe(0);
    const diff = spawnSync('diff', ['-r', 'kit', 'out/kit'], { cwd: work.folder, encoding: 'utf8' });
    expect(diff.stdout).toBe('');
    expect(diff.status).toBe(0);
  });

  it('is not built from a spec that no longer matches its lock', () => {
    work.change(work.spec, 'CRC8: m', 'CRC8: y');
    const ran = work.quern(['build', work.spec, '-o', 'other']);
    expect(ran.status).toBe(2);
    expect(ran.stderr).toContain('CRC8');
    expect(ran.stderr).toContain('quern pin');
    work.change(work.spec, 'CRC8: y', 'CRC8: m');
  });

  it('is not built from a patch that is no longer the one that was pinned', () => {
    work.change('patches/0001-gauge-banner.patch', 'whose kernel', 'who has made the kernel');
    const ran = work.quern(['build', work.spec, '-o', 'other']);
    expect(ran.status).toBe(4);
    expect(ran.stderr).toContain('patches/0001-gauge-banner.patch');
    work.change('patches/0001-gauge-banner.patch', 'who has made the kernel', 'whose kernel');
  });

  it('is not built from a package that is not the one that was pinned', () => {
    const lock = text('gauge-station.lock.json');
    const [, sha256 = ''] = /\{ "package": "bc", .*"sha256": "([0-9a-f]{64})"/u.exec(lock) ?? [];
    work.change('gauge-station.lock.json', sha256, 'f'.repeat(64));
    const ran = work.quern(['build', work.spec, '-o', 'other']);
    expect(ran.status).toBe(4);
    expect(ran.stderr).toMatch(/wrong-digest.*bc_/su);
    expect(ran.stderr).toContain(sha256);
    writeFileSync(work.path('gauge-station.lock.json'), lock);
  });

  it('does not overwrite what is not ours', () => {
    writeFileSync(work.path('precious'), 'mine');
    const ran = work.quern(['build', work.spec, '-o', '.']);
    expect(ran.status).toBe(2);
    expect(ran.stderr).toContain('-o');
    expect(text('precious')).toBe('mine');
  });
});
