import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { exitOf } from '../../src/diagnostics/diagnostic.ts';
import { readSpec } from '../../src/spec/read-spec.ts';

const base = `quern: 1
name: gauge-station
kernel: { version: "6.1", source: { debian: linux-source-6.1 } }
arch: x86_64
config: { base: tinyconfig }
environment: { debian: bookworm }
`;

/** The smallest spec, with lines taken out (`-key`) or put in place of those with the same key. */
function spec(...lines: string[]): string {
  const keys = lines.map((line) => line.replace(/^-/, '').split(':')[0]);
  const kept = base.split('\n').filter((line) => line !== '' && !keys.includes(line.split(':')[0]));
  return [...kept, ...lines.filter((line) => !line.startsWith('-'))].join('\n');
}

/** Each diagnostic as `code@offending text`. */
function found(text: string): string[] {
  return readSpec(text, 'gauge.yaml').diagnostics.map(({ code, span }) =>
    span ? `${code.replace('spec/', '')}@${text.slice(span.start, span.end)}` : code.replace('spec/', ''),
  );
}

function helps(text: string): (string | undefined)[] {
  return readSpec(text, 'gauge.yaml').diagnostics.map(({ help }) => help);
}

describe('a base and fragments that are no files', () => {
  const of = (config: string): unknown => readSpec(spec(`config: ${config}`), 'gauge.yaml').value?.config;

  test('are told from files by their braces', () => {
    expect(of('{ base: { debian: linux-config-6.1, config: amd64_rt_amd64 } }')).toMatchObject({
      base: { kind: 'debian', package: 'linux-config-6.1', config: 'amd64_rt_amd64' },
    });
    expect(of('{ base: { running: ./kept/station.config } }')).toMatchObject({
      base: { kind: 'running', path: 'kept/station.config' },
    });
    expect(
      of('{ base: defconfig, fragments: [{ tree: kvm_guest.config }, kvm_guest.config] }'),
    ).toMatchObject({
      fragments: [{ tree: 'kvm_guest.config' }, 'kvm_guest.config'],
    });
  });

  test.each([
    ['{ base: { debian: linux-config-6.1 } }', ['missing-key@base'], 'add `config: amd64_none_amd64`'],
    ['{ base: {} }', ['missing-key@base', 'missing-key@base'], 'add `debian: linux-config-6.1`'],
    ['{ base: { debain: linux-config-6.1 } }', undefined, 'did you mean `debian`?'],
    ['{ base: { running: /boot/config } }', ['bad-value@/boot/config'], undefined],
    ['{ base: { debian: ../x, config: amd64_none_amd64 } }', ['bad-value@../x'], undefined],
    ['{ base: defconfig, fragments: [{ tree: ../x.config }] }', ['bad-value@../x.config'], undefined],
    ['{ base: defconfig, fragments: [{ tree: kvm_guest }] }', ['bad-value@kvm_guest'], undefined],
    ['{ base: defconfig, fragments: [{ tree: a.config }, { tree: a.config }] }', undefined, undefined],
  ])('%s is refused', (config, expected, help) => {
    const text = spec(`config: ${config}`);
    expect(readSpec(text, 'gauge.yaml').value).toBeUndefined();
    if (expected) expect(found(text)).toEqual(expected);
    if (help !== undefined) expect(helps(text)).toContain(help);
  });
});

describe('a sound spec', () => {
  test('the demo', () => {
    const file = new URL('../e2e/otter-bank/gauge-station.yaml', import.meta.url);
    const { value, diagnostics } = readSpec(readFileSync(file, 'utf8'), 'gauge-station.yaml');
    expect(diagnostics).toEqual([]);
    expect(value).toEqual({
      name: 'gauge-station',
      kernel: { version: '6.1', source: { kind: 'debian', package: 'linux-source-6.1' } },
      arch: 'x86_64',
      config: {
        base: { kind: 'target', target: 'tinyconfig' },
        fragments: ['serial-console.config'],
        set: [
          { option: 'MODULES', value: 'y' },
          { option: 'MODULE_UNLOAD', value: 'y' },
          { option: 'CRC7', value: 'm' },
          { option: 'CRC8', value: 'm' },
          { option: 'LOG_BUF_SHIFT', value: '16' },
          { option: 'DEFAULT_HOSTNAME', value: '"otter-bank"' },
        ],
      },
      patches: ['patches/0001-gauge-banner.patch'],
      environment: { debian: 'bookworm' },
      localversion: '-gauge',
      build: { user: 'gauge', host: 'otter-bank', epoch: Date.UTC(2026, 0, 1) / 1000 },
      outputs: ['image', 'modules'],
    });
  });

  test('defaults', () => {
    expect(readSpec(base, 'gauge.yaml').value).toMatchObject({
      config: { fragments: [], set: [] },
      patches: [],
      localversion: '',
      build: { user: 'builder', host: 'quern' },
      outputs: ['image', 'modules'],
    });
    expect(readSpec(base, 'gauge.yaml').value?.build).not.toHaveProperty('epoch');
    expect(readSpec(base, 'gauge.yaml').value?.environment).not.toHaveProperty('gcc');
  });

  test('line breaks, a byte order mark, comments and a document marker change nothing', () => {
    const { value } = readSpec(base, 'gauge.yaml');
    for (const text of [base.replaceAll('\n', '\r\n'), `\ufeff${base}`, `# c\n---\n${base}...\n`]) {
      expect(readSpec(text, 'gauge.yaml')).toMatchObject({ value, diagnostics: [] });
    }
  });

  test.each([
    [
      'kernel: { version: "6.1.192", source: { tarball: ./linux.tar.xz } }',
      { kind: 'tarball', path: 'linux.tar.xz' },
    ],
    ['kernel: { version: "6.12-rc3", source: { tree: src/linux/ } }', { kind: 'tree', path: 'src/linux' }],
    ['kernel: { version: 6.1.192, source: { tree: ./linux } }', { kind: 'tree', path: 'linux' }],
  ])('%s', (line, source) => {
    expect(found(spec(line))).toEqual([]);
    expect(readSpec(spec(line), 'gauge.yaml').value?.kernel.source).toEqual(source);
  });

  test.each([
    ['defconfig', { kind: 'target', target: 'defconfig' }],
    ['allnoconfig', { kind: 'target', target: 'allnoconfig' }],
    ['x86_64_defconfig', { kind: 'target', target: 'x86_64_defconfig' }],
    ['station.config', { kind: 'file', path: 'station.config' }],
    ['.config', { kind: 'file', path: '.config' }],
    ['configs/station', { kind: 'file', path: 'configs/station' }],
    ['./tinyconfig', { kind: 'file', path: 'tinyconfig' }],
  ])('base %s', (text, expected) => {
    expect(readSpec(spec(`config: { base: ${text} }`), 'gauge.yaml').value?.config.base).toEqual(expected);
  });

  test.each([
    ['1767225600', 1767225600],
    ['2026-01-01T00:00:00Z', 1767225600],
    ['"2026-01-01T00:00:00Z"', 1767225600],
    ['1980-01-01T00:00:00Z', 315532800],
    ['2107-12-31T23:59:59Z', 4354819199],
    ['2028-02-29T12:00:00Z', 1835438400],
  ])('epoch %s', (text, seconds) => {
    expect(readSpec(spec(`build: { epoch: ${text} }`), 'gauge.yaml').value?.build.epoch).toBe(seconds);
  });

  test('outputs come in one order', () => {
    expect(readSpec(spec('outputs: [vmlinux, image]'), 'gauge.yaml').value?.outputs).toEqual([
      'image',
      'vmlinux',
    ]);
  });

  test('place tells where a value stands', () => {
    const text = spec('config: { base: tinyconfig, set: { CRC7: m } }');
    const { place } = readSpec(text, 'gauge.yaml');
    const span = place(['config', 'set', 'CRC7']);
    expect(span && [span.file, text.slice(span.start, span.end)]).toEqual(['gauge.yaml', 'm']);
    expect(place(['patches'])).toBeUndefined();
  });
});

describe('values of options keep their spelling', () => {
  test.each([
    ['y', 'y'],
    ['m', 'm'],
    ['n', 'n'],
    ['16', '16'],
    ['-5', '-5'],
    ['0', '0'],
    ['0x10', '0x10'],
    ['0X1f', '0X1f'],
    ['0x0010', '0x0010'],
    ['0xffffffff80000000', '0xffffffff80000000'],
    ['18446744073709551615', '18446744073709551615'],
    ['-9223372036854775808', '-9223372036854775808'],
    ['"y"', '"y"'],
    ["'16'", '"16"'],
    ['"0x10"', '"0x10"'],
    ['otter-bank', '"otter-bank"'],
    ['console=ttyS0 quiet', '"console=ttyS0 quiet"'],
    ['""', '""'],
    ['6.1.192', '"6.1.192"'],
    ['"6.10"', '"6.10"'],
    [String.raw`'a"b\c'`, String.raw`"a\"b\\c"`],
    ['"$(id) `id` {{x}}"', '"$(id) `id` {{x}}"'],
    ['"tab\\there"', '"tab\there"'],
    ['2026-01-01', '"2026-01-01"'],
  ])('%s is written %s', (yaml, value) => {
    const text = spec(`config:\n  base: tinyconfig\n  set:\n    X: ${yaml}`);
    expect(found(text)).toEqual([]);
    expect(readSpec(text, 'gauge.yaml').value?.config.set).toEqual([{ option: 'X', value }]);
  });

  test('the order of requests is kept, also of names that look like numbers', () => {
    const text = spec('config: { base: tinyconfig, set: { Z: y, 9P_FS: y, 64BIT: y, 8: y, A: y } }');
    expect(readSpec(text, 'gauge.yaml').value?.config.set.map(({ option }) => option)).toEqual(
      'Z 9P_FS 64BIT 8 A'.split(' '),
    );
  });

  test.each([
    ['true', 'write `y`'],
    ['False', 'write `n`'],
    ['', 'write `n` to switch it off, `""` for an empty string'],
    ['~', 'write `n` to switch it off, `""` for an empty string'],
    ['null', 'write `n` to switch it off, `""` for an empty string'],
    ['6.10', 'write a whole number or, if a string is meant, `"6.10"`'],
    ['1e3', 'write a whole number or, if a string is meant, `"1e3"`'],
    ['.inf', 'write a whole number or, if a string is meant, `".inf"`'],
    ['010', 'write `10` or, if a string is meant, `"010"`'],
    ['+5', 'write `5` or, if a string is meant, `"+5"`'],
    ['0o17', 'write `15` or, if a string is meant, `"0o17"`'],
    ['0x10000000000000000', 'write a smaller number or, if a string is meant, `"0x10000000000000000"`'],
    ['18446744073709551616', 'write a smaller number or, if a string is meant, `"18446744073709551616"`'],
    ['[y]', 'write `y`, `m`, `n`, a number or a string'],
    ['{ a: y }', 'write `y`, `m`, `n`, a number or a string'],
    ['"a\\nb"', 'write the string on one line'],
    ['"a\\0b"', 'write the string on one line'],
    ['"\\e[31m"', 'write the string on one line'],
    ['"\\ud800"', 'write the string on one line'],
    ['|\n      a', 'write the string on one line'],
  ])('%j is an error', (yaml, help) => {
    const text = spec(`config:\n  base: tinyconfig\n  set:\n    X: ${yaml}`);
    expect(readSpec(text, 'gauge.yaml')).toMatchObject({
      value: undefined,
      diagnostics: [{ code: 'spec/option-value', exit: 2, help }],
    });
  });

  test.each([
    ['yes', 'y'],
    ['On', 'y'],
    ['Y', 'y'],
    ['no', 'n'],
    ['off', 'n'],
    ['N', 'n'],
    ['M', 'm'],
    ['module', 'm'],
  ])('%s is a string, with a warning that names %s', (yaml, meant) => {
    const { value, diagnostics } = readSpec(
      spec(`config: { base: tinyconfig, set: { X: ${yaml} } }`),
      'gauge.yaml',
    );
    expect(value?.config.set).toEqual([{ option: 'X', value: `"${yaml}"` }]);
    expect(diagnostics).toMatchObject([{ code: 'spec/option-spelling', severity: 'warning' }]);
    expect(diagnostics[0]?.help).toContain(`write \`${meant}\``);
    expect(exitOf(diagnostics)).toBe(0);
  });

  test.each([
    ['CONFIG_CRC7', 'write `CRC7`'],
    ['CONFIG_CONFIG_CRC7', 'write `CRC7`'],
    ['CRC-7', 'write `CRC_7`'],
    ['"CRC7 "', 'write `CRC7`'],
    ['"a b"', 'for example `BLK_DEV_INITRD`'],
    ['__proto__', 'for example `BLK_DEV_INITRD`'],
    ['"X=y\\nCONFIG_Y"', 'for example `BLK_DEV_INITRD`'],
    ['""', 'for example `BLK_DEV_INITRD`'],
  ])('%s is no option name', (key, help) => {
    const text = spec(`config: { base: tinyconfig, set: { ${key}: y } }`);
    expect(found(text)).toEqual([`option-name@${key}`]);
    expect(helps(text)).toEqual([help]);
  });
});

describe('errors', () => {
  test.each<[string, string, string[]]>([
    ['nothing', '', ['empty@']],
    ['only comments', '# nothing\n', ['empty@']],
    ['only a marker', '---\n', ['empty@']],
    ['two documents', `${base}---\nquern: 1\n`, ['documents@quern: 1']],
    ['a list', '- a', ['not-a-mapping@- a']],
    ['a word', 'hello', ['not-a-mapping@hello']],
    ['a NUL', `${base}\0`, ['not-text@\0']],
    ['not UTF-8', `${base}# \ufffd`, ['not-text@\ufffd']],
    ['too much', `#${'x'.repeat(1024 * 1024)}`, ['too-large@']],
    ['no YAML', 'a: b: c', ['yaml@:']],
    ['a tab', 'quern:\n\t- 1', ['yaml@\t']],
    ['too deep', `a: ${'['.repeat(50)}${']'.repeat(50)}`, ['yaml@[']],
    [
      'an anchor and an alias',
      spec('localversion: &x -a', 'patches: [*x]'),
      ['yaml-feature@&x', 'yaml-feature@*x', 'bad-value@*x'],
    ],
    ['a tag', spec('name: !!str a'), ['yaml-feature@!!str']],
    ['a key twice', spec('localversion: -a\nlocalversion: -b'), ['duplicate-key@localversion']],
    ['an option twice', spec('config: { base: tinyconfig, set: { A: y, A: n } }'), ['duplicate-key@A']],
    ['a merge', spec('<<: { name: x }'), ['unknown-key@<<']],
    [
      'prototype keys',
      spec('__proto__: 1\nconstructor: 2'),
      ['unknown-key@__proto__', 'unknown-key@constructor'],
    ],
    ['a nested one', spec('build: { __proto__: { user: x }, user: y }'), ['unknown-key@__proto__']],
    ['unknown keys', spec('nam: x', 'build: { usr: x }'), ['unknown-key@nam', 'unknown-key@usr']],
    ['no kind of source', spec('kernel: { version: "6.1", source: { hg: x } }'), ['unknown-key@hg']],
    ['no source', spec('kernel: { version: "6.1", source: {} }'), ['bad-value@source']],
    [
      'two sources',
      spec('kernel: { version: "6.1", source: { tree: a, tarball: b } }'),
      ['bad-value@source'],
    ],
    ['no version', spec('kernel: { source: { tree: a } }'), ['missing-key@kernel']],
    ['format 2', spec('quern: 2'), ['bad-value@2']],
    ['format "1"', spec('quern: "1"'), ['bad-value@"1"']],
    ['an empty value', spec('patches:'), ['wrong-type@patches']],
    ['a word for a list', spec('patches: a.patch'), ['wrong-type@a.patch']],
    ['a list for a word', spec('name: [a]'), ['wrong-type@name']],
    ['a word for a mapping', spec('kernel: "6.1"'), ['wrong-type@"6.1"']],
    [
      'an image that is none',
      spec('environment: { debian: bookworm, image: "Debian:12" }'),
      ['bad-value@"Debian:12"'],
    ],
    [
      'an image of a host that no URL can have',
      spec('environment: { debian: bookworm, image: "gauges.example:99999/base" }'),
      ['bad-value@"gauges.example:99999/base"'],
    ],
    ['a day', spec('environment: { debian: bookworm, snapshot: 2026-01-01 }'), ['bad-value@2026-01-01']],
    ['an image alone', spec('environment: { image: debian }'), ['missing-key@environment']],
    ['no gcc', spec('environment: { debian: bookworm, gcc: 3 }'), ['bad-value@3']],
    ['gcc 12.2', spec('environment: { debian: bookworm, gcc: 12.2 }'), ['wrong-type@12.2']],
    ['gcc "12"', spec('environment: { debian: bookworm, gcc: "12" }'), ['wrong-type@"12"']],
    ['no outputs', spec('outputs: []'), ['bad-value@outputs']],
    [
      'a patch and a series in one',
      spec('patches: [{ path: a.patch, series: patches/series }]'),
      ['unknown-key@series'],
    ],
    ['an output twice', spec('outputs: [image, image]'), ['bad-value@image']],
    [
      'a patch twice',
      spec('patches: [a.patch, ./a.patch, { b: c }]'),
      ['bad-value@./a.patch', 'missing-key@{ b: c }', 'unknown-key@b'],
    ],
    [
      'another series',
      spec('kernel: { version: "6.12", source: { debian: linux-source-6.1 } }'),
      ['version-mismatch@linux-source-6.1'],
    ],
    [
      'another series, exact',
      spec('kernel: { version: "5.10.9", source: { debian: linux-source-6.1 } }'),
      ['version-mismatch@linux-source-6.1'],
    ],
  ])('%s', (_, text, expected) => {
    expect(found(text)).toEqual(expected);
    const { value, diagnostics } = readSpec(text, 'gauge.yaml');
    expect(value).toBeUndefined();
    expect(exitOf(diagnostics)).toBe(2);
    for (const { help } of diagnostics) expect(help).toBeTruthy();
  });

  test('keys that every spec has are asked for one by one, each with an example that is right', () => {
    const missing = readSpec('localversion: -a', 'gauge.yaml').diagnostics;
    expect(missing.map(({ code }) => code)).toEqual(Array(6).fill('spec/missing-key'));
    const lines = missing.map(({ help }) => /^add `(.*)`$/.exec(help ?? '')?.[1]);
    expect(readSpec(lines.join('\n'), 'gauge.yaml').diagnostics).toEqual([]);
    const inner = readSpec(spec('kernel: {}', 'config: {}', 'environment: {}'), 'gauge.yaml').diagnostics;
    const [version, source, target, debian] = inner.map(({ help }) => /^add `(.*)`$/.exec(help ?? '')?.[1]);
    const mended = spec(
      `kernel: { ${version}, ${source} }`,
      `config: { ${target} }`,
      `environment: { ${debian} }`,
    );
    expect(readSpec(mended, 'gauge.yaml').diagnostics).toEqual([]);
  });

  test.each<[string, string]>([
    ['kernel: { version: 6.1, source: { tree: a } }', 'write `"6.1"`'],
    ['kernel: { version: 6.10, source: { tree: a } }', 'write `"6.10"`'],
    ['kernel: { version: 6, source: { tree: a } }', 'write `"6"`'],
    ['kernel: { version: v6.1.3, source: { tree: a } }', 'did you mean `6.1.3`?'],
    ['kernel: { version: v6.1, source: { tree: a } }', 'did you mean `"6.1"`?'],
    ['kernel: { version: "6.1", source: { debian: linux-source } }', 'did you mean `linux-source-6.1`?'],
    [
      'kernel: { version: "6.1", source: { debian: linux-image-6.1-amd64 } }',
      'did you mean `linux-source-6.1`?',
    ],
    ['arch: x86', 'did you mean `x86_64`?'],
    ['arch: AMD64', 'did you mean `amd64`?'],
    ['arch: arm65', 'did you mean `arm64`?'],
    ['arch: vax', 'write one of these'],
    ['environment: { debian: 12 }', 'did you mean `bookworm`?'],
    ['environment: { debian: Bookwurm }', 'did you mean `bookworm`?'],
    ['environment: { debian: constructor }', 'write one of these'],
    ['config: { base: tinyconf }', 'did you mean `tinyconfig`?'],
    ['config: { base: x86_64defconfig }', 'did you mean `x86_64_defconfig`?'],
    ['config: { base: multi_v7 }', 'did you mean `multi_v7_defconfig`?'],
    ['config: { base: -f_defconfig }', 'did you mean `defconfig`?'],
    ['config: { base: all }', 'did you mean `allnoconfig`?'],
    ['config: { base: "x;y" }', 'write it so that it fits this rule'],
    ['patches: a.patch', 'write `[a.patch]`'],
    ['environment: { debian: bookworm, gcc: "12" }', 'write `12` without quotes'],
    ['kernel: "6.1"', 'write a mapping of keys to values'],
    ['name: Otter Bank', 'did you mean `otter-bank`?'],
    ['name: 123', 'write `"123"`'],
    ['name: "true"', ''],
    ['name: true', 'write `"true"`'],
    ['localversion: gauge 1', 'did you mean `-gauge-1`?'],
    ['localversion: 5', 'write `"-5"`'],
    ['localversion: -5', 'write `"-5"`'],
    ['outputs: [images]', 'did you mean `image`?'],
    ['output: [image]', 'did you mean `outputs`?'],
    ['patch: [a]', 'did you mean `patches`?'],
  ])('%s: %s', (line, help) => {
    expect(helps(spec(line))).toEqual(help === '' ? [] : [help]);
  });

  test('unquoted versions are explained by what YAML makes of them', () => {
    const { diagnostics } = readSpec(spec('kernel: { version: 6.10, source: { tree: a } }'), 'gauge.yaml');
    expect(diagnostics).toMatchObject([
      {
        code: 'spec/needs-quotes',
        message: '`kernel.version` must stand in quotes: `6.10`',
        notes: ['it is a text, and without quotes YAML reads `6.10` as the number 6.1'],
      },
    ]);
  });

  test.each([
    ['/etc/passwd', 'it is an absolute path'],
    ['C:\\x', 'it is an absolute path'],
    ['../x', "it leads out of the spec's folder"],
    ['a/../../x', "it leads out of the spec's folder"],
    ['a/..', "it leads out of the spec's folder"],
    ['./../x', "it leads out of the spec's folder"],
    ['a\\b', 'folders are divided by `/`, not by a backslash'],
    ['https://otter-bank.example/a.patch', 'it is a URL, not a file'],
    ['a//b', 'one of its parts is empty or `.`'],
    ['a/./b', 'one of its parts is empty or `.`'],
    ['a/', 'one of its parts is empty or `.`'],
    ['.', 'one of its parts is empty or `.`'],
    ['', 'it is empty'],
    ['-rf', 'its part `-rf` begins or ends with a character that cannot stand there'],
    ['a/-b', 'its part `-b` begins or ends with a character that cannot stand there'],
    ['~/a', 'its part `~` begins or ends with a character that cannot stand there'],
    ['a ', 'its part `a ` begins or ends with a character that cannot stand there'],
    ['a\nb', 'it has `\\n` in it'],
    ['a\0b', 'it has `\\x00` in it'],
    ['a\u2028b', 'it has `\\u2028` in it'],
    ['a\u202eb', 'it has `\\u202e` in it'],
    ['$(id)', 'it has `$` in it'],
    ['`id`', 'it has ``` in it'],
    ['{{x}}', 'it has `{` in it'],
    ["it's", "it has `'` in it"],
  ])('path %j: %s', (path, why) => {
    const written = JSON.stringify(path);
    for (const line of [
      `patches: [${written}]`,
      `config: { base: tinyconfig, fragments: [${written}] }`,
      `kernel: { version: "6.1", source: { tarball: ${written} } }`,
    ]) {
      const { value, diagnostics } = readSpec(spec(line), 'gauge.yaml');
      expect(value).toBeUndefined();
      expect(diagnostics.map(({ code, message }) => [code, message.endsWith(`: ${why}`)])).toEqual([
        ['spec/bad-value', true],
      ]);
    }
  });

  test.each(['a.patch', 'a b/c d.patch', '.hidden', '..a/b..', 'a@b+c=d,e~f_g-h', 'zusätze/水位.patch', '@'])(
    'path %s is fine',
    (path) => {
      expect(readSpec(spec(`patches: ["${path}"]`), 'gauge.yaml').value?.patches).toEqual([path]);
    },
  );

  test('patches with what is said of them, and without what goes without saying', () => {
    const { value, diagnostics } = readSpec(
      spec(
        `patches: [./a.patch, "b/*.patch", { path: c, strip: 1, fuzz: 0, reverse: false }, { path: d, strip: 0, fuzz: 2, reverse: true }, { series: ./e/series, fuzz: 1 }]`,
      ),
      'gauge.yaml',
    );
    expect(diagnostics).toEqual([]);
    expect(value?.patches).toEqual([
      'a.patch',
      'b/*.patch',
      'c',
      { path: 'd', strip: 0, fuzz: 2, reverse: true },
      { series: 'e/series', fuzz: 1 },
    ]);
  });

  test.each([
    ['patches: [{ path: a, fuzz: 3 }]', ['bad-value@3']],
    ['patches: [{ path: a, strip: -1 }]', ['bad-value@-1']],
    ['patches: [{ path: a, strip: "0" }]', ['wrong-type@"0"']],
    ['patches: [{ series: "*" }]', ['bad-value@"*"']],
    ['patches: [{ series: a, reverse: true }]', ['unknown-key@reverse']],
    ['patches: [{ path: a, fuz: 1 }]', ['unknown-key@fuz']],
    ['patches: ["/*.patch"]', ['bad-value@"/*.patch"']],
    ['patches: ["a/../*.patch"]', ['bad-value@"a/../*.patch"']],
    ['patches: [5]', ['needs-quotes@5']],
    ['patches: [a, { path: ./a }]', ['bad-value@{ path: ./a }']],
  ])('%s', (line, expected) => {
    expect(found(spec(line))).toEqual(expected);
  });

  test.each([
    '1979-12-31T23:59:59Z',
    '2108-01-01T00:00:00Z',
    '2026-02-29T00:00:00Z',
    '2026-01-01',
    '2026-01-01T00:00:00+01:00',
    '2026-01-01T00:00:00.5Z',
    '2026-01-01 00:00:00',
    '315532799',
    '4354819200',
    '1.5',
    'true',
    'now',
  ])('epoch %s is none', (epoch) => {
    expect(found(spec(`build: { epoch: ${epoch} }`))).toEqual([`bad-value@${epoch}`]);
  });

  test('all errors of a file come in one go, in the order of the text', () => {
    const text =
      'quern: 1\nname: A B\narch: vax\nconfig: { base: x, set: { A: true } }\nenvironment: { debian: sid }\npatches: [/a]\n';
    expect(found(text)).toEqual([
      'missing-key@quern',
      'bad-value@A B',
      'bad-value@vax',
      'bad-value@x',
      'option-value@true',
      'bad-value@sid',
      'bad-value@/a',
    ]);
  });

  test('a flood of errors is cut', () => {
    const many = Array.from({ length: 300 }, (_, index) => `OPT_${index}: .5`).join(', ');
    const { diagnostics } = readSpec(spec(`config: { base: tinyconfig, set: { ${many} } }`), 'gauge.yaml');
    expect(diagnostics).toHaveLength(101);
    expect(diagnostics.at(-1)).toMatchObject({ code: 'spec/more-errors', message: 'and 200 more' });
  });
});

test('a value or an error, for any text', () => {
  const words = fc.constantFrom(
    ...'quern name kernel version : - { } [ ] , " \' | > # & * ! ? % @ ` 1 "6.1" \n \t x y ~ \u2028 \0'.split(
      ' ',
    ),
    ' ',
    '\n  ',
  );
  fc.assert(
    fc.property(fc.array(words, { maxLength: 40 }), (parts) => {
      const { value, diagnostics } = readSpec(parts.join(''), 'gauge.yaml');
      expect(value === undefined).toBe(exitOf(diagnostics) !== 0);
    }),
    { numRuns: 1000 },
  );
});

describe('a source that is fetched', () => {
  const fingerprint = 'ab'.repeat(20);
  const kernel = (version: string, source: string): string =>
    spec(`kernel: { version: "${version}", source: { ${source} } }`);
  const release = `release: kernel.org, keyring: ./keys.asc, signers: [${fingerprint}]`;

  test('is read with what makes it authentic', () => {
    expect(readSpec(kernel('6.1.192', release), 'x').value?.kernel.source).toEqual({
      kind: 'release',
      site: 'kernel.org',
      signers: [fingerprint.toUpperCase()],
      keyring: 'keys.asc',
      keys: [],
    });
    const url = 'https://kernels.otter-bank.example/linux.tar.gz';
    const signed = `url: ${url}, signature: sig/linux.sign, keys: [a@otter-bank.example], signers: [${fingerprint}]`;
    expect(readSpec(kernel('6.1', signed), 'x').value?.kernel.source).toEqual({
      kind: 'url',
      urls: [url],
      signature: { kind: 'file', path: 'sig/linux.sign' },
      signers: [fingerprint.toUpperCase()],
      keys: ['a@otter-bank.example'],
    });
  });

  test('is a commit or a tag of a git repository', () => {
    const url = 'https://git.otter-bank.example/linux.git';
    const commit = '0123456789abcdef0123456789abcdef01234567';
    expect(readSpec(kernel('6.1', `git: ${url}, commit: ${commit}`), 'x').value?.kernel.source).toEqual({
      kind: 'git',
      url,
      commit,
      signers: [],
      keys: [],
    });
    const signed = `git: ${url}, tag: v6.1.192, signers: [${fingerprint}], keyring: ./keys.asc`;
    expect(readSpec(kernel('6.1.192', signed), 'x').value?.kernel.source).toEqual({
      kind: 'git',
      url,
      tag: 'v6.1.192',
      signers: [fingerprint.toUpperCase()],
      keyring: 'keys.asc',
      keys: [],
    });
  });

  // referee: git check-ref-format(1), which allows more than we do
  test.each([
    ['v6.1.192', true],
    ['station/7', true],
    ['v6.1_otter+1', true],
    ['-v6.1', false],
    ['.v6', false],
    ['a/.b', false],
    ['v6..1', false],
    ['v6.', false],
    ['v6.lock', false],
    ['a.lock/b', false],
    ['a//b', false],
    ['a/', false],
    ['a b', false],
    ['v6^{}', false],
    ['v6:x', false],
    ['@{-1}', false],
    ['v6*', false],
  ])('the name of a tag: %s', (tag, good) => {
    const text = kernel('6.1', `git: https://git.otter-bank.example/linux.git, tag: ${JSON.stringify(tag)}`);
    expect(readSpec(text, 'x').value !== undefined).toBe(good);
    expect(spawnSync('git', ['check-ref-format', `refs/tags/${tag}`]).status === 0 || !good).toBe(true);
  });

  test.each([
    ['6.1', 'write the exact version, such as `version: "6.1.1"`'],
    ['6.12-rc3', 'take a release'],
    ['2.6.39', 'name the file itself'],
  ])('a release needs an exact version, and %s is none', (version, help) => {
    const text = kernel(version, release);
    expect(found(text)).toEqual([`version-mismatch@"${version}"`]);
    expect(helps(text)[0]).toContain(help);
  });

  test.each([
    ['debian: linux-source-6.1, sums: x', 'has no `sums`'],
    ['release: kernel.org', 'whose signature counts must be named'],
    [`release: kernel.org, signers: [${fingerprint}]`, 'where the keys of the signers are must be named'],
    ['url: https://a.otter-bank.example/a.tar', '`sha256`, by `signature`, or both'],
    [`url: https://a.otter-bank.example/a.tar, sha256: ${'a'.repeat(64)}, keyring: k.asc`, 'no `signature`'],
    ['url: http://a.otter-bank.example/a.tar', 'a URL begins with https://'],
    ['git: https://a.otter-bank.example/a.git', '`tag`, `commit`, or both'],
    ['git: git@a.otter-bank.example:a.git, tag: v6.1', 'a URL begins with https://'],
    ['git: https://a.otter-bank.example/a.git, commit: abc1234', 'a commit is named in full'],
    ['git: https://a.otter-bank.example/a.git, commit: main', 'a branch moves'],
    [`git: https://a.otter-bank.example/a.git, tag: v6.1, keyring: k.asc`, '`signers`'],
    [
      `git: https://a.otter-bank.example/a.git, commit: ${'a'.repeat(40)}, keyring: k.asc, signers: [${fingerprint}]`,
      'signers sign tags',
    ],
    ['tree: linux, tag: v6.1', 'has no `tag`'],
  ])('%s is wrong', (source, why) => {
    const { value, diagnostics } = readSpec(kernel('6.1.192', source), 'x');
    expect(value).toBeUndefined();
    expect(diagnostics.map(({ message, notes }) => [message, ...notes].join(' ')).join('\n')).toContain(why);
  });
});
