import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import fc from 'fast-check';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';

import { writeFiles } from '../../src/host/output-folder.ts';
import { renderKit, renderQuestions, type Files } from '../../src/kit/kit.ts';
import type { Spec } from '../../src/spec/spec.ts';
import { answers, config, inputs, kitTemplates, patches, sha256, spec } from './fixture.ts';

const lock = { inputs, answers };
const templates = kitTemplates();
const render = (changed: Partial<Spec> = {}): Files =>
  renderKit({ ...spec, ...changed }, lock, config, patches, templates);
const questions = (changed: Partial<Spec> = {}): Files => {
  const requests = Buffer.from('CONFIG_MODULES=y\n');
  const asked = { sha256: sha256(requests), content: requests };
  return renderQuestions({ ...spec, ...changed }, inputs, asked, undefined, patches, templates);
};
const text = (files: Files, name: string): string => Buffer.from(files.get(name) ?? []).toString();

let folder: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'quern-kit-test-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('renderKit', () => {
  it('makes the files that a kit has', () => {
    expect([...render().keys()].sort()).toEqual([
      'Containerfile',
      'README.md',
      'build.sh',
      'environment.sh',
      'inputs.sha256',
      'kernel.config',
      'patches/0001-0001-gauge-banner.patch',
      'run.sh',
    ]);
  });

  it('lists the inputs in the format of coreutils', () => {
    expect(text(render(), 'inputs.sha256').split('\n')).toContain(
      `${sha256('source')}  linux-source-6.1_6.1.192-2_all.deb`,
    );
  });

  it('names the archive first and its dated copy second, with what a server might misread escaped', () => {
    expect(text(render(), 'run.sh')).toContain(
      ' http://archive.example/debian/pool/main/g/gcc/gcc_12.2.0-3%2Bb1_amd64.deb' +
        ' http://snapshot.example/debian/20260101T000000Z/pool/main/g/gcc/gcc_12.2.0-3%2Bb1_amd64.deb',
    );
  });

  it('builds modules and the bare kernel only where they are wanted and can be', () => {
    expect(text(render(), 'build.sh')).toContain('modules_install');
    expect(text(render({ outputs: ['image'] }), 'build.sh')).not.toContain('modules_install');
    const without = renderKit(spec, lock, Buffer.from('CONFIG_64BIT=y\n'), patches, templates);
    expect(text(without, 'build.sh')).not.toContain('modules_install');
    expect(text(render({ outputs: ['vmlinux'] }), 'build.sh')).toContain('install -m 0644 vmlinux');
  });

  it.each([
    ['the kit', render],
    ['the questions', questions],
    [
      'a kit without patches and modules',
      () => renderKit({ ...spec, patches: [], outputs: ['vmlinux'] }, lock, config, [], templates),
    ],
  ])('passes shellcheck: %s', async (_, make) => {
    const files = make();
    const place = mkdtempSync(join(folder, 'check-'));
    await writeFiles(place, files);
    const scripts = [...files.keys()].filter((name) => name.endsWith('.sh'));
    expect(scripts.length).toBeGreaterThanOrEqual(3);
    const { stdout, status } = spawnSync('shellcheck', ['--shell=sh', ...scripts], {
      cwd: place,
      encoding: 'utf8',
    });
    expect(stdout).toBe('');
    expect(status).toBe(0);
  });
});

describe('the same spec and lock', () => {
  const script = `
    import { renderKit } from './src/kit/kit.ts';
    import * as fixture from './test/kit/fixture.ts';
    const files = renderKit(fixture.spec, { inputs: fixture.inputs, answers: fixture.answers }, fixture.config,
      fixture.patches, fixture.kitTemplates());
    for (const [name, content] of files) console.log(fixture.sha256(content), name);
  `;
  const elsewhere = (environment: Record<string, string>, umask: string): string => {
    const command = `umask ${umask}; exec "$0" --import tsx --input-type=module -e "$1"`;
    const { stdout, stderr, status } = spawnSync('sh', ['-c', command, process.execPath, script], {
      env: { PATH: process.env['PATH'], ...environment },
      encoding: 'utf8',
    });
    expect(stderr).toBe('');
    expect(status).toBe(0);
    return stdout;
  };

  it('give the same bytes in other time zones, locales, homes and with another umask', () => {
    const here = [...render()].map(([name, content]) => `${sha256(content)} ${name}\n`).join('');
    expect(
      elsewhere(
        { TZ: 'Asia/Tokyo', LANG: 'tr_TR.UTF-8', LC_ALL: 'tr_TR.UTF-8', HOME: '/nonexistent' },
        '077',
      ),
    ).toBe(here);
    expect(
      elsewhere({ TZ: 'America/St_Johns', LANG: 'C', USER: 'someone', HOSTNAME: 'elsewhere' }, '002'),
    ).toBe(here);
  });
});

describe('values of the spec', () => {
  // what the grammars of the spec let through, and more: every character but those that no shell word can hold
  const hostile = fc
    .string({ unit: 'grapheme', minLength: 1, maxLength: 40 })
    .map((value) => value.replaceAll(/[\0-\x1f\x7f]/gu, "'"));
  const traps = fc.constantFrom(
    "'; touch hit; '",
    '$(touch hit)',
    '`touch hit`',
    '{{name}}',
    '{{{name}}}',
    '-oops',
    '"; touch hit; "',
    '\u2028touch hit',
    'END',
    '\\',
    "'",
    '*',
    '$IFS',
    '#',
    '%s',
    '../../hit',
  );

  it('stay in their places: the scripts set the very values and run nothing of them', () => {
    fc.assert(
      fc.property(
        fc.oneof(hostile, traps),
        fc.oneof(hostile, traps),
        fc.oneof(hostile, traps),
        (user, host, localversion) => {
          const script = text(render({ localversion, build: { ...spec.build, user, host } }), 'build.sh');
          // the lines that hold values, run by a real shell in which make tells what it was given
          const lines = script
            .split('\n')
            .filter((each) => /^KBUILD_BUILD_(USER|HOST)=|^ {2}make ARCH=/u.test(each));
          expect(lines).toHaveLength(3);
          const probe = [
            'make() { printf "%s\\0" "$@"; }',
            ...lines,
            'printf "%s\\0" "$KBUILD_BUILD_USER" "$KBUILD_BUILD_HOST"',
          ].join('\n');
          const { stdout, stderr } = spawnSync('sh', ['-c', probe], { cwd: folder, encoding: 'utf8' });
          expect(stderr).toBe('');
          expect(stdout.split('\0')).toEqual(
            expect.arrayContaining([user, host, 'ARCH=x86_64', `LOCALVERSION=${localversion}`]),
          );
        },
      ),
      { numRuns: 60 },
    );
  }, 60_000);

  it('cannot name a patch out of its folder', () => {
    const evil = [
      '../../etc/passwd',
      "a'; touch hit; '.patch",
      '-R.patch',
      '$(touch hit).patch',
      '.patch',
      'ä\u2028.patch',
    ];
    const files = renderKit(
      { ...spec, patches: evil },
      lock,
      config,
      evil.map((path) => ({ path, sha256: sha256(path), content: Buffer.from(path) })),
      templates,
    );
    const names = [...files.keys()].filter((name) => name.startsWith('patches/'));
    expect(names).toHaveLength(evil.length);
    for (const name of names) expect(name).toMatch(/^patches\/\d{4}-[A-Za-z0-9._-]*$/u);
  });
});

describe('the templates', () => {
  it('print no value but through a helper for its place', () => {
    for (const [name, source] of templates) {
      const raw = source
        .match(/\{\{[^}]*\}\}/gu)
        ?.filter((tag) => !/^\{\{(?:[#/>]|else|word |sh |line |md )/u.test(tag));
      expect(raw ?? [], name).toEqual([]);
      expect(source, name).not.toContain('{{{');
    }
  });

  it('stop at a name that the view does not have', () => {
    const broken = new Map(templates).set('README.md', '{{word nothing}}');
    expect(() => renderKit(spec, lock, config, patches, broken)).toThrow('not there');
  });
});
