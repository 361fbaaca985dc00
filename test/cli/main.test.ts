import fc from 'fast-check';
import { describe, expect, it } from 'vitest';

import { commandTable } from '../../src/cli/command-table.ts';
import { cliCodes } from '../../src/cli/codes.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import { Interrupted } from '../../src/host/interrupt.ts';
import { packageVersion } from '../../src/host/package-root.ts';
import { runCli, type FakeWorld } from './run-cli.ts';

describe('what the words become', () => {
  it.each<[string, string, object]>([
    ['check gauge.yaml', 'check', { spec: 'gauge.yaml', probeHost: false }],
    ['check gauge.yaml --lock x.json', 'check', { spec: 'gauge.yaml', lock: 'x.json', probeHost: false }],
    ['--json check gauge.yaml', 'check', { spec: 'gauge.yaml', probeHost: false }],
    ['check --debug -- -gauge.yaml', 'check', { spec: '-gauge.yaml', probeHost: false }],
    ['pin gauge.yaml', 'pin', { spec: 'gauge.yaml' }],
    ['pin --refresh packages gauge.yaml', 'pin', { spec: 'gauge.yaml', refresh: 'packages' }],
    ['pin gauge.yaml --engine podman', 'pin', { spec: 'gauge.yaml', engine: 'podman' }],
    [
      'kit gauge.yaml -o out --engine buildah',
      'kit',
      { spec: 'gauge.yaml', output: 'out', engine: 'buildah' },
    ],
    ['kit gauge.yaml -o out', 'kit', { spec: 'gauge.yaml', output: 'out' }],
    ['kit -oout gauge.yaml', 'kit', { spec: 'gauge.yaml', output: 'out' }],
    ['kit --output=-out gauge.yaml', 'kit', { spec: 'gauge.yaml', output: '-out' }],
    ['environment gauge.yaml', 'environment', { spec: 'gauge.yaml' }],
    [
      'environment gauge.yaml --save e.tar --engine docker',
      'environment',
      { spec: 'gauge.yaml', engine: 'docker', file: { kind: 'save', path: 'e.tar' } },
    ],
    [
      `environment gauge.yaml --load e.tar --sha256 ${'a'.repeat(64)}`,
      'environment',
      { spec: 'gauge.yaml', file: { kind: 'load', path: 'e.tar', sha256: 'a'.repeat(64) } },
    ],
    ['keep gauge.yaml -o kept', 'keep', { spec: 'gauge.yaml', output: 'kept' }],
    [
      'build gauge.yaml -o out',
      'build',
      { spec: 'gauge.yaml', output: 'out', keepTree: false, shellOnFailure: false },
    ],
    [
      'build gauge.yaml -o out --jobs 4 --keep-tree --shell-on-failure --engine docker',
      'build',
      { spec: 'gauge.yaml', output: 'out', jobs: 4, keepTree: true, shellOnFailure: true, engine: 'docker' },
    ],
    ['config gauge.yaml', 'config', { spec: 'gauge.yaml', probeHost: false }],
    [
      'config gauge.yaml -o c --probes p.json',
      'config',
      { spec: 'gauge.yaml', probeHost: false, probes: 'p.json', output: 'c' },
    ],
    [
      'config --tree linux --arch arm64 --set CRC7=m --set CONFIG_CRC8=y --base tinyconfig --probe-host --save-probes p',
      'config',
      {
        tree: 'linux',
        arch: 'arm64',
        base: 'tinyconfig',
        set: [
          { option: 'CRC7', value: 'm' },
          { option: 'CRC8', value: 'y' },
        ],
        probeHost: true,
        saveProbes: 'p',
      },
    ],
    [
      'check gauge.yaml --probe-host --save-probes p.json',
      'check',
      { spec: 'gauge.yaml', probeHost: true, saveProbes: 'p.json' },
    ],
    ['store', 'store', { clean: false, unused: 30 }],
    ['store --clean --unused 0', 'store', { clean: true, unused: 0 }],
    ['new gauge', 'new', { name: 'gauge', running: false }],
    [
      'new gauge --kernel 6.12 --base tinyconfig --arch x86_64 -o specs',
      'new',
      { name: 'gauge', kernel: '6.12', base: 'tinyconfig', arch: 'x86_64', output: 'specs', running: false },
    ],
    ['new gauge --config a.gz', 'new', { name: 'gauge', config: 'a.gz', running: false }],
    ['new gauge --running', 'new', { name: 'gauge', running: true }],
    ['why gauge.yaml CRC7', 'why', { spec: 'gauge.yaml', probeHost: false, asked: { option: 'CRC7' } }],
    [
      'why gauge.yaml CONFIG_CRC7=m',
      'why',
      { spec: 'gauge.yaml', probeHost: false, asked: { option: 'CRC7', value: 'm' } },
    ],
    ['verify out', 'verify', { folder: 'out' }],
    ['boot out', 'boot', { folder: 'out' }],
    [
      'boot out --timeout 60 --busybox bb --modules crc7,,crc8',
      'boot',
      { folder: 'out', timeout: 60, busybox: 'bb', modules: ['crc7', 'crc8'] },
    ],
  ])('quern %s', async (line, name, options) => {
    const ran = await runCli(line.split(' '));
    expect(ran.calls).toEqual([[name, options]]);
    expect(ran).toMatchObject({ code: 0, stderr: '', ended: 1 });
  });
});

/** The words, the code, and what message and help contain. */
const wrongLines: readonly [string, string, string, string][] = [
  ['', 'cli/no-command', 'no command is named', '`quern --help` lists the commands.'],
  ['chekc spec', 'cli/unknown-command', 'there is no command `chekc`', 'Did you mean `quern check`?'],
  ['install', 'cli/unknown-command', 'there is no command `install`', '`quern --help` lists'],
  ['help chekc', 'cli/unknown-command', 'there is no command `chekc`', 'Did you mean `quern check`?'],
  ['constructor', 'cli/unknown-command', 'there is no command `constructor`', '`quern --help`'],
  ['check s --lok f', 'cli/unknown-option', 'there is no option `--lok`', 'Did you mean `--lock`?'],
  ['check s -x', 'cli/unknown-option', 'there is no option `-x`', '`quern check --help` tells'],
  ['check s --constructor', 'cli/unknown-option', 'no option `--constructor`', '`quern check --help`'],
  ['check s --__proto__=1', 'cli/unknown-option', 'no option `--__proto__`', '`quern check --help`'],
  ['check s --version', 'cli/unknown-option', 'no option `--version`', '`quern check --help`'],
  ['--verison', 'cli/unknown-option', 'no option `--verison`', 'Did you mean `--version`?'],
  [
    'new gauge --running --config a',
    'cli/conflicting-options',
    '--config does not go with --running',
    'Leave',
  ],
  ['store --unused 3', 'cli/bad-value', '`--unused` without `--clean` does not take `3`', '--clean'],
  ['store --clean --unused x', 'cli/bad-value', '`--unused` does not take `x`', 'whole number'],
  ['new gauge --arch amd46', 'cli/bad-value', '`--arch` does not take `amd46`', 'amd64'],
  ['why gauge.yaml =y', 'cli/bad-value', 'OPTION does not take `=y`', 'CRC7'],
  ['why gauge.yaml CRC7=', 'cli/bad-value', 'OPTION does not take `CRC7=`', 'CRC7'],
  ['why gauge.yaml A-B', 'cli/bad-value', 'OPTION does not take `A-B`', 'CRC7'],
  ['check', 'cli/missing-argument', 'the argument SPEC is missing', '`quern check --help`'],
  ['verify a b', 'cli/unexpected-argument', '`b` is one argument too many', '`quern verify --help`'],
  ['kit s', 'cli/missing-option', 'the option --output is missing', '`quern kit --help`'],
  ['kit s -o', 'cli/missing-value', '`-o` stands without its value', '`--output DIR`'],
  ['kit s --output=', 'cli/missing-value', '`--output` stands without its value', '`--output DIR`'],
  ['kit s -o --json', 'cli/missing-value', '`--json` looks like an option', '`--output=--json`'],
  ['kit s -o a -o b', 'cli/repeated-option', '`--output` stands there more than once', 'Keep the one'],
  ['check s --json=yes', 'cli/unwanted-value', '`--json` takes no value', 'Write `--json` alone'],
  [
    'pin s --refresh everything',
    'cli/bad-value',
    '`--refresh` does not take `everything`',
    'It takes `source`',
  ],
  ['pin s --refresh package', 'cli/bad-value', '`--refresh` does not take', 'Did you mean `packages`?'],
  ['build s -o o --jobs 0', 'cli/bad-value', '`--jobs` does not take `0`', 'whole number from 1 to 1024'],
  ['build s -o o --jobs 1e3', 'cli/bad-value', '`--jobs` does not take `1e3`', 'whole number'],
  ['build s -o o --jobs=-1', 'cli/bad-value', '`--jobs` does not take `-1`', 'whole number'],
  ['boot o --timeout 99999999999999999999', 'cli/bad-value', '`--timeout` does not take', 'from 1 to 86400'],
  ['environment s --load e', 'cli/missing-option', 'the option --sha256 is missing', 'help'],
  [
    'environment s --load e --sha256 abc',
    'cli/bad-value',
    '`--sha256` does not take `abc`',
    '64 hexadecimal',
  ],
  [`environment s --sha256 ${'a'.repeat(64)}`, 'cli/bad-value', '`--sha256`', '--load'],
  [
    `environment s --save a --load b --sha256 ${'a'.repeat(64)}`,
    'cli/conflicting-options',
    '--save',
    'Leave',
  ],
  ['config', 'cli/missing-option', '--tree', 'help'],
  ['config s --tree t', 'cli/bad-value', 'a spec does not take `--tree`', 'not both'],
  ['config --tree t --arch x86_64 --set CRC7', 'cli/bad-value', '`--set`', 'CRC7=m'],
  ['config s --save-probes p', 'cli/bad-value', '--probe-host', 'as well'],
  ['config s --probes p --probe-host', 'cli/conflicting-options', '--probes', 'Leave'],
  ['build s -o o --engine dokcer', 'cli/bad-value', '`--engine` does not take', 'Did you mean `docker`?'],
  [
    'build s -o o --shell-on-failure --json',
    'cli/conflicting-options',
    '--shell-on-failure does not go with --json',
    'Leave one of them out.',
  ],
];

describe('a command line that is wrong', () => {
  it.each(wrongLines)('quern %s', async (line, code, message, help) => {
    const argv = line === '' ? [] : line.split(' ');
    const ran = await runCli(argv);
    expect(ran.calls).toEqual([]);
    expect(ran.code).toBe(2);
    if (argv.includes('--json')) {
      expect(JSON.parse(ran.stdout)).toMatchObject({ exit: 2, diagnostics: [{ code }] });
      expect(ran.stdout).toContain(message);
      expect(ran.stdout).toContain(help);
    } else {
      expect(ran.stderr).toContain(`error[${code}]: `);
      expect(ran.stderr).toContain(message);
      expect(ran.stderr).toContain(help);
    }
  });

  it('is told everything at once', async () => {
    const { code, stdout } = await runCli(['build', '--jobs', 'x', '--engin', 'docker', '--json', '--lock=']);
    expect(code).toBe(2);
    expect(JSON.parse(stdout)).toMatchObject({
      command: 'build',
      diagnostics: [
        { code: 'cli/unknown-option' },
        { code: 'cli/missing-value' },
        { code: 'cli/bad-value' },
        { code: 'cli/missing-option' },
      ],
    });
  });

  it('shows the help to who types the name alone', async () => {
    expect((await runCli([])).stdout).toContain('Usage: quern COMMAND');
  });

  it('cannot drive the terminal', async () => {
    const { stderr } = await runCli(['\u001b[2J\u202e', '\u0007']);
    expect(stderr).toContain(String.raw`\x1b[2J\u202e`);
    expect(stderr).not.toMatch(/[\u{1b}\u{7}\u{202e}]/u);
  });

  it('ends in 0 or 2, whatever the words, and never in a trace', async () => {
    const word = fc.oneof(
      fc.constantFrom(
        ...Object.keys(commandTable),
        '--json',
        '-o',
        '--',
        '-',
        '--lock',
        '--jobs',
        '=',
        'help',
        '-h',
      ),
      fc.string(),
      fc.string({ unit: 'binary' }).map((text) => `--${text}`),
    );
    await fc.assert(
      fc.asyncProperty(fc.array(word, { maxLength: 6 }), async (argv) => {
        const { code, stderr, stdout } = await runCli(argv);
        expect([0, 2]).toContain(code);
        expect(stderr + stdout).not.toMatch(/^ +at /mu);
      }),
      { numRuns: 200 },
    );
  });
});

describe('help and version', () => {
  it.each(['--version', '-V'])('%s', async (flag) => {
    expect(await runCli([flag])).toMatchObject({
      code: 0,
      stdout: `quern ${packageVersion()}\n`,
      stderr: '',
    });
    expect(JSON.parse((await runCli([flag, '--json'])).stdout)).toMatchObject({ version: packageVersion() });
  });

  it.each([['--help'], ['-h'], ['help']])('%s lists every command', async (word) => {
    const { code, stdout, stderr } = await runCli([word]);
    expect({ code, stderr }).toEqual({ code: 0, stderr: '' });
    for (const [name, { summary }] of Object.entries(commandTable)) {
      expect(stdout).toMatch(new RegExp(`^  ${name} +${summary}$`, 'mu'));
    }
  });

  it('leaves out what there is not', async () => {
    const world: FakeWorld = { names: ['verify', 'check'] };
    const { stdout } = await runCli(['--help'], world);
    expect(stdout.match(/^ {2}[a-z]+ {2,}/gmu)?.map((one) => one.trim())).toEqual(['check', 'verify']);
    expect(await runCli(['build', 's', '-o', 'o'], world)).toMatchObject({ code: 2 });
  });

  it.each(Object.entries(commandTable))('quern %s --help names each of its options', async (name, line) => {
    const { code, stdout, calls } = await runCli([name, '--help']);
    expect({ code, calls }).toEqual({ code: 0, calls: [] });
    expect(stdout).toMatch(new RegExp(`^Usage: quern ${name} ${line.operands.join(' ')}`, 'u'));
    const told = [...stdout.matchAll(/^ {2}(?:-([a-z]), )?--([a-z0-9-]+)(?: ([A-Z][^ ]*))? /gmu)].map(
      ([, short, long, value]) => ({ long, short, value }),
    );
    const flags = Object.entries(line.flags).map(([long, { short, value }]) => ({ long, short, value }));
    expect(told.slice(0, flags.length).toSorted(byName)).toEqual(flags.toSorted(byName));
    expect(told.slice(flags.length).map(({ long }) => long)).toEqual(['json', 'debug', 'help']);
    expect(stdout.split('\n').every((one) => one.length <= 100)).toBe(true);
    expect((await runCli(['help', name])).stdout).toBe(stdout);
  });
});

function byName(left: { long: string | undefined }, right: { long: string | undefined }): number {
  return (left.long ?? '') < (right.long ?? '') ? -1 : 1;
}

const warning = { code: 'spec/odd', severity: 'warning', exit: 2, message: 'odd', notes: [] } as const;
const error = { ...warning, severity: 'error', code: 'spec/wrong', message: 'wrong' } as const;

describe('what a command answers', () => {
  const answering: FakeWorld = {
    command: async () => ({
      exit: 1,
      diagnostics: [{ ...warning, span: { file: 'gauge.yaml', start: 6, end: 9 } }],
      value: { verdicts: ['dropped'] },
      text: 'verdicts for people',
      sources: new Map([['gauge.yaml', 'quern 1: x\n']]),
    }),
  };

  it('goes to standard output, and diagnostics to standard error', async () => {
    expect(await runCli(['check', 's'], answering)).toMatchObject({
      code: 1,
      stdout: 'verdicts for people\n',
      stderr: expect.stringMatching(
        /^gauge\.yaml:1:7: warning\[spec\/odd\]: odd\n.*quern 1: x\n.*\^\^\^\n$/su,
      ),
    });
  });

  it('is JSON and nothing else with --json', async () => {
    const { code, stdout, stderr } = await runCli(['check', 's', '--json'], answering);
    expect({ code, stderr }).toEqual({ code: 1, stderr: '' });
    expect(JSON.parse(stdout)).toEqual({
      command: 'check',
      exit: 1,
      diagnostics: [
        {
          code: 'spec/odd',
          severity: 'warning',
          message: 'odd',
          file: 'gauge.yaml',
          line: 1,
          column: 7,
          notes: [],
        },
      ],
      verdicts: ['dropped'],
    });
  });

  it('is coloured on a terminal that wants it', async () => {
    const coloured = await runCli(['check', 's'], { ...answering, terminal: true });
    expect(coloured.stderr).toContain('\u001b[');
    const plain = await runCli(['check', 's'], { ...answering, terminal: true, env: { NO_COLOR: '1' } });
    expect(plain.stderr).not.toContain('\u001b[');
  });
});

describe('what a command throws', () => {
  const throwing = (thrown: unknown): FakeWorld => ({
    command: async () => {
      throw thrown;
    },
  });
  const systemError = (code: string): Error =>
    Object.assign(new Error(`${code}: words of the system, write '/out/x'`), {
      code,
      syscall: 'write',
      path: '/out/x',
    });

  it('a Failure ends with the exit code of its first error', async () => {
    const ran = await runCli(['check', 's'], throwing(new Failure([warning, error])));
    expect(ran).toMatchObject({ code: 2, stdout: '', ended: 1 });
    expect(ran.stderr).toBe('warning[spec/odd]: odd\n\nerror[spec/wrong]: wrong\n');
  });

  it('a Failure shows the line that it is about, when it brings the text', async () => {
    const about = { ...error, span: { file: 'gauge.yaml', start: 9, end: 13 } };
    const sources = new Map([['gauge.yaml', 'quern: 1\nnmae: gauge\n']]);
    const thrown = throwing(new Failure(about, { sources }));
    const { stderr, stdout } = await runCli(['check', 's'], thrown);
    expect({ stderr, stdout }).toEqual({
      stderr: 'gauge.yaml:2:1: error[spec/wrong]: wrong\n    2 | nmae: gauge\n      | ^^^^\n',
      stdout: '',
    });
    const json = await runCli(['check', 's', '--json'], thrown);
    expect(JSON.parse(json.stdout)).toMatchObject({
      diagnostics: [{ file: 'gauge.yaml', line: 2, column: 1 }],
    });
  });

  it.each(['ENOSPC', 'EACCES', 'EROFS', 'EMFILE'])('%s of the system is no mistake of ours', async (code) => {
    const ran = await runCli(['check', 's'], throwing(systemError(code)));
    expect(ran.code).toBe(3);
    expect(ran.stderr).toContain('error[command/system-refused]: `/out/x`: ');
    expect(ran.stderr).toContain("words of the system, write '/out/x'");
  });

  it.each<[string, unknown]>([
    ['an Error', new TypeError('x is undefined')],
    ['a file that nobody looked for', systemError('ENOENT')],
    ['a string', 'x is undefined'],
    ['nothing', undefined],
    ['a Failure that says nothing', new Failure([])],
  ])('%s is a mistake of ours: one sentence, and how to learn more', async (_, thrown) => {
    const ran = await runCli(['check', 's'], throwing(thrown));
    expect(ran.code).toBe(70);
    expect(ran.stderr).toMatch(/^error\[command\/internal-error\]: something went wrong inside Quern/u);
    expect(ran.stderr).toContain('--debug');
    expect(ran.stderr).not.toMatch(/^ +at /mu);
  });

  it('--debug shows where, with the cause', async () => {
    const thrown = new Failure(error, { cause: new Error('the deeper reason') });
    const { stderr } = await runCli(['check', 's', '--debug'], throwing(thrown));
    expect(stderr).toMatch(/^ +at .*main\.test\.ts/mu);
    expect(stderr).toContain('the deeper reason');
    const { stdout } = await runCli(['check', 's', '--debug', '--json'], throwing(thrown));
    expect(JSON.parse(stdout)).toMatchObject({
      exit: 2,
      trace: expect.stringContaining('the deeper reason'),
    });
  });

  it.each(['SIGINT', 'SIGTERM', 'SIGHUP'] as const)(
    'whatever it is after %s, the run was interrupted',
    async (name) => {
      const controller = new AbortController();
      const ran = await runCli(['build', 's', '-o', 'o'], {
        signal: controller.signal,
        command: async () => {
          controller.abort(new Interrupted(name));
          throw new Error('a pipe broke, because the other end was stopped');
        },
      });
      expect(ran).toMatchObject({
        code: 130,
        stderr: `error[command/interrupted]: interrupted by ${name}\n`,
      });
    },
  );
});

it('every code of the catalogue is reached by a test above', () => {
  const reached = new Set(wrongLines.map(([, code]) => code));
  expect([...reached].toSorted()).toEqual(Object.keys(cliCodes.entries).toSorted());
});
