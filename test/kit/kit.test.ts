import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import fc from 'fast-check';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';

import { writeFiles } from '../../src/host/output-folder.ts';
import { renderKit, type Files } from '../../src/kit/kit.ts';
import { outputKinds, type Spec } from '../../src/spec/spec.ts';
import { anyLockOf, anySpec } from '../spec/any-lock.ts';
import { digests } from './digests.ts';
import { answers, config, inputs, kitTemplates, patches, plainPatches, sha256, spec } from './fixture.ts';

const lock = { inputs, answers };
const templates = kitTemplates();
const render = (changed: Partial<Spec> = {}): Files =>
  renderKit({ ...spec, ...changed }, lock, config, patches, templates);
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
      'check-probes.sh',
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
    [
      'a kit without patches and modules',
      () =>
        renderKit({ ...spec, patches: [], outputs: ['vmlinux'] }, lock, config, plainPatches([]), templates),
    ],
    [
      'all outputs',
      () => {
        const on = ['64BIT', 'MODULES', 'DEBUG_INFO', 'OF_EARLY_FLATTREE', 'RANDSTRUCT'];
        const all: Spec = { ...spec, arch: 'arm64', outputs: outputKinds };
        const text = Buffer.from(on.map((option) => `CONFIG_${option}=y\n`).join(''));
        return renderKit(all, lock, text, plainPatches([]), templates);
      },
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
  // the samples go to the other processes as JSON, as a lock does
  const sample = anySpec.chain((one) =>
    anyLockOf(one).map(({ inputs: pinned, answers: given }) => ({
      spec: one,
      inputs: pinned,
      answers: given ?? answers,
    })),
  );
  /** Renders the samples on stdin and tells the digests, on a clock that is off by years. */
  const script = `
    const RealDate = Date;
    const shifted = () => RealDate.now() + 12345678901234;
    globalThis.Date = class extends RealDate {
      constructor(...words) { words.length === 0 ? super(shifted()) : super(...words); }
      static now() { return shifted(); }
    };
    const { readFileSync } = await import('node:fs');
    const { digests } = await import(${JSON.stringify(new URL('digests.ts', import.meta.url).href)});
    console.log(JSON.stringify(JSON.parse(readFileSync(0, 'utf8')).map(digests)));
  `;
  const elsewhere = (
    input: string,
    environment: Record<string, string>,
    umask: string,
    cwd: string,
  ): unknown => {
    const command = `umask ${umask}; exec "$0" --import "$1" --input-type=module -e "$2"`;
    const { stdout, stderr, status } = spawnSync(
      'sh',
      ['-c', command, process.execPath, import.meta.resolve('tsx'), script],
      { env: { PATH: process.env['PATH'], ...environment }, cwd, input, encoding: 'utf8' },
    );
    expect(stderr).toBe('');
    expect(status).toBe(0);
    return JSON.parse(stdout);
  };

  it('give the same bytes in other time zones, locales, homes, folders, with another umask and clock', () => {
    const samples = fc.sample(sample, 30);
    const input = JSON.stringify(samples);
    const here = samples.map(digests);
    // they are no constants
    expect(new Set(here.map((each) => JSON.stringify(each))).size).toBeGreaterThan(25);
    const east = { TZ: 'Asia/Tokyo', LANG: 'tr_TR.UTF-8', LC_ALL: 'tr_TR.UTF-8', HOME: '/nonexistent' };
    expect(elsewhere(input, east, '077', '/')).toEqual(here);
    const west = { TZ: 'America/St_Johns', LANG: 'C', USER: 'someone', HOSTNAME: 'elsewhere', HOME: folder };
    expect(elsewhere(input, west, '002', folder)).toEqual(here);
  }, 60_000);
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

  const debianSource = {
    kind: 'debian',
    version: '1',
    origin: 'debian',
    path: 'pool/main/l/linux/linux-source_1_all.deb',
    size: 6,
    sha256: sha256('source'),
  } as const;

  it('of the lock stay in their places too, or are refused', () => {
    const plain = fc.constantFrom(
      '6.1.192-gauge',
      'x86_64_defconfig',
      'http://deb.example/debian',
      'linux-source-6.1',
    );
    const value = fc.oneof(hostile, traps, plain);
    const part = { kernelRelease: value, version: value, url: value, source: value };
    const refused = { url: 0, version: 0, source: 0 };
    const rendered = <Result>(make: () => Result, field: keyof typeof refused): Result | undefined => {
      try {
        return make();
      } catch (error) {
        expect(String(error)).toMatch(/not a (?:plain word|line)/u);
        refused[field] += 1;
        return undefined;
      }
    };
    const through = (probe: string): readonly string[] => {
      const { stdout, stderr } = spawnSync('sh', ['-c', probe], { cwd: folder, encoding: 'utf8' });
      expect(stderr).toBe('');
      return stdout.split('\0').slice(0, -1);
    };
    fc.assert(
      fc.property(fc.record(part), ({ kernelRelease, version, url, source }) => {
        const withAnswers = (more: Partial<typeof answers>): Files =>
          renderKit(spec, { inputs, answers: { ...answers, ...more } }, config, patches, templates);

        const compared = text(withAnswers({ kernelRelease }), 'build.sh')
          .split('\n')
          .filter((line) => line.startsWith('[ "$release" = '));
        expect(compared).toHaveLength(1);
        const said = 'fail() { shift; printf "%s\\0" "$@"; }; release=other\n';
        expect(through(`${said}${compared[0] ?? ''}`)).toEqual([
          'the kernel release is other and not',
          kernelRelease,
        ]);

        const tools = rendered(
          () => text(withAnswers({ toolchain: { gcc: version } }), 'build.sh'),
          'version',
        );
        if (tools !== undefined) {
          const table = /<<'END'\n(gcc [^]*?\nEND)\n/u.exec(tools)?.[1] ?? '';
          const read = `while read -r program expected; do printf '%s\\0' "$program" "$expected"; done <<'END'\n`;
          // blanks around it are lost, which the grammar of the lock keeps out
          expect(through(`${read}${table}\n`)).toEqual(['gcc', version.replaceAll(/^[ \t]+|[ \t]+$/gu, '')]);
        }

        const table = rendered(() => {
          const origins = { debian: { url } };
          return text(
            renderKit(spec, { inputs: { ...inputs, origins }, answers }, config, patches, templates),
            'run.sh',
          );
        }, 'url');
        if (table !== undefined) {
          const rows = /inputs_table\(\) \{[^]*?\n\}/u.exec(table)?.[0] ?? '';
          const read = `inputs_table | while read -r _ _ _ file place; do printf '%s\\0' "$place"; done`;
          expect(through(`${rows}\n${read}`)[1]).toBe(`${url}/pool/main/d/dash/dash_0.5.12-2_amd64.deb`);
        }

        const holder = rendered(() => {
          const pinned = { ...debianSource, package: source };
          return text(
            renderKit(spec, { inputs: { ...inputs, source: pinned }, answers }, config, patches, templates),
            'build.sh',
          );
        }, 'source');
        if (holder !== undefined) {
          const unpacks = holder.split('\n').find((line) => line.startsWith('dpkg-deb --fsys-tarfile')) ?? '';
          const line = unpacks
            .replace(/^dpkg-deb --fsys-tarfile "\$source"/u, 'true')
            .replace(' >/build/tmp/source.tar.xz', '')
            .replace(/ \|\|$/u, '');
          const stand = `log=/dev/null; tar() { printf '%s\\0' "$@"; }\n${line}`;
          expect(through(stand)).toEqual(['-xO', `./usr/src/${source}.tar.xz`]);
        }
      }),
      { numRuns: 60 },
    );
    // both have been seen, also when the values are picked by chance
    expect(Object.values(refused).every((times) => times < 60)).toBe(true);
    expect(refused.url + refused.source).toBeGreaterThan(0);
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
    const files = renderKit({ ...spec, patches: evil }, lock, config, plainPatches(evil), templates);
    const names = [...files.keys()].filter((name) => name.startsWith('patches/'));
    expect(names).toHaveLength(evil.length);
    for (const name of names) expect(name).toMatch(/^patches\/\d{4}-[A-Za-z0-9._-]*$/u);
  });
});

describe('the templates', () => {
  it('print no value but through a helper for its place', () => {
    for (const [name, source] of templates) {
      const raw = source
        // a backslash before it keeps Handlebars away
        .match(/(?<!\\)\{\{[^}]*\}\}/gu)
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
