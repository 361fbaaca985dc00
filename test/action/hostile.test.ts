/** Hostile specs, build results and compiler logs through the Action: a runner is made to do nothing by them. */
import { mkdirSync, rmSync, writeFileSync } from 'node:fs';

import { afterAll, afterEach, beforeAll, beforeEach, expect, it, vi } from 'vitest';

import { stepLog } from '../../action/log.ts';
import { runStep } from '../../action/run.ts';
import type { JobCommands } from '../../action/run-job.ts';
import { assertBootable, boot } from '../../src/commands/boot.ts';
import { build } from '../../src/commands/build.ts';
import { BuildFailure } from '../../src/commands/build-failure.ts';
import { check } from '../../src/commands/check.ts';
import { containerCodes } from '../../src/container/codes.ts';
import { firstError } from '../../src/container/first-error.ts';
import { plainProgress } from '../../src/host/plain-progress.ts';
import { Store } from '../../src/host/store.ts';
import { startEmptyArchive, type EmptyArchive } from '../setup/empty-archive.ts';
import { hostileSpecs, payloads } from '../spec/hostile.ts';
import { ourTags, renderPage, tagsIn } from './page.ts';
import { built, verdict } from './reports.ts';
import { commandsIn } from './runner.ts';
import { inputVariables, makeStepFolder, type StepFolder } from './workspace.ts';

let step: StepFolder;
let printed: string;
let archive: EmptyArchive;
beforeAll(async () => {
  step = makeStepFolder();
  archive = await startEmptyArchive();
});
afterAll(() => {
  step.remove();
  archive.stop();
});
beforeEach(() => {
  printed = '';
  vi.spyOn(process.stdout, 'write').mockImplementation((text) => {
    printed += String(text);
    return true;
  });
});
afterEach(() => {
  vi.restoreAllMocks();
  vi.unstubAllEnvs();
});

const real: JobCommands = { check, build, assertBootable, boot };

async function run(inputs: Readonly<Record<string, string>>, commands: JobCommands = real): Promise<number> {
  printed = '';
  for (const [name, file] of Object.entries(step.env)) {
    if (/^GITHUB_(?:OUTPUT|ENV|PATH|STATE|STEP_SUMMARY)$/u.test(name)) writeFileSync(file, '');
  }
  const given = inputVariables(inputs);
  for (const [name, value] of Object.entries({ ...step.env, ...given })) vi.stubEnv(name, value);
  // Without a PATH there is no engine: what passes the reader ends there.
  const env = { ...step.env, ...given, PATH: step.path('nowhere'), QUERN_MIRRORS: archive.mirrors };
  const log = stepLog(process.stdout);
  const host = {
    cwd: step.workspace,
    env,
    now: () => new Date(),
    signal: new AbortController().signal,
    progress: plainProgress(log),
    store: new Store(step.path('store')),
  };
  return runStep({ host, log, commands });
}

const outputNames = new Set([
  ...['outcome', 'exit-code', 'folder', 'kernel-release', 'build-stamp', 'image', 'image-sha256'],
  ...['checksums', 'verdicts', 'kept', 'not-kept', 'booted'],
]);

/** What a runner would do beyond showing annotations; empty when all is well. */
function misdeeds(spec: string): string[] {
  const found: string[] = [];
  const kinds = new Set(['error', 'warning', 'notice', 'group', 'endgroup', 'stop-commands']);
  const commands = commandsIn(printed);
  for (const { name, properties, data } of commands) {
    if (!kinds.has(name)) found.push(`command ${name} ${data}`);
    const strange = Object.keys(properties).filter((key) => !['title', 'file', 'line', 'col'].includes(key));
    if (strange.length > 0) found.push(`properties ${strange.join()}`);
    if (!/^$|^[a-z]+\/[a-z-]+$/u.test(properties['title'] ?? '')) found.push(`title ${properties['title']}`);
    if (![undefined, spec].includes(properties['file'])) found.push(`file ${properties['file']}`);
    if (name !== 'group' && /[^\n\P{C}]|[\u2028\u2029]/u.test(data)) found.push(`data ${data}`);
  }
  for (const kind of ['error', 'warning', 'notice']) {
    if (commands.filter(({ name }) => name === kind).length > 10) found.push(`too many of ${kind}`);
  }
  for (const name of step.outputs().keys()) if (!outputNames.has(name)) found.push(`output ${name}`);
  if (step.strays() !== '') found.push(`strays ${step.strays()}`);
  // nothing on the log drives a terminal
  if (/[^\n\P{C}]/u.test(printed)) found.push('a control character');
  if (Buffer.byteLength(step.summary()) > 1024 * 1024) found.push('a page that is too large');
  const tags = [...tagsIn(renderPage(step.summary()))].filter((tag) => !ourTags.has(tag));
  if (tags.length > 0) found.push(`tags ${tags.join(' ')}`);
  return found;
}

it('hostile specs: at least 100, by check and by build', { timeout: 300_000 }, async () => {
  const specs = hostileSpecs(160, 20261126);
  expect(specs.length).toBeGreaterThanOrEqual(100);
  for (const [index, spec] of specs.entries()) {
    const name = `${index}.yaml`;
    writeFileSync(step.path(name), spec);
    const job = index % 2 === 0 ? 'check' : 'build';
    const code = await run({ spec: name, job });
    expect([0, 2, 3], spec.slice(0, 2000)).toContain(code);
    expect([misdeeds(name), spec.slice(0, 2000)]).toEqual([[], spec.slice(0, 2000)]);
    rmSync(step.path(name));
  }
});

it('specs whose errors talk to the runner', { timeout: 120_000 }, async () => {
  const attacks = [
    '::set-output name=evil::1',
    '##[add-path]/tmp',
    '::stop-commands::x',
    '</details><script>x</script>',
  ];
  for (const attack of attacks) {
    for (const text of [
      `${attack}: x\n`,
      `quern: 1\nname: "${attack}"\n`,
      `"a\\n${attack}": x\n`,
      `${attack}\n`,
    ]) {
      writeFileSync(step.path('talk.yaml'), text);
      expect(await run({ spec: 'talk.yaml' })).toBe(2);
      expect(misdeeds('talk.yaml')).toEqual([]);
    }
  }
});

const hostileLog = [
  '::error file=app.js,line=1::Missing semicolon',
  '::set-env name=PATH::/tmp/evil',
  '##[set-env name=PATH]/tmp/evil',
  '  ::add-mask::a',
  '::stop-commands::pause',
  "init/main.c:7:3: error: expected ';' ##[add-path]/tmp before '::set-output name=evil::1'",
  '\u001b]0;title\u0007\u001b[2Jinit/main.c:8:1: error: </details><img src=x onerror=y> `|` {{x}}',
  '\r::error::carriage',
  'make[1]: *** [scripts/Makefile.build:250: init/main.o] Error 1',
  'make: *** [Makefile:2019: .] Error 2',
];

it.each([
  ['as it is', hostileLog],
  ['backwards', hostileLog.toReversed()],
  ['with payloads as names of files', payloads.map((payload) => `${payload}:1:1: error: ${payload}`)],
])('a hostile compiler log, %s', async (_, lines) => {
  const log = lines.join('\n');
  const first = firstError(log);
  const failing: JobCommands['build'] = async (_options, host) => {
    // as the kit's runner would tell them: a stage, and lines that stay
    host.progress.stage(lines.join(' '));
    for (const line of lines) host.progress.line(line);
    const diagnostic = containerCodes.report('container/does-not-compile', {
      message: `the kernel does not compile: ${first?.text ?? log}`,
      notes: lines,
    });
    mkdirSync(step.path('out.failed'), { recursive: true });
    throw new BuildFailure([diagnostic], step.path('out.failed'), undefined);
  };
  const code = await run({ spec: 'gauge-station.yaml', job: 'build' }, { ...real, build: failing });
  expect(code).toBe(1);
  expect(misdeeds('gauge-station.yaml')).toEqual([]);
});

it.each(payloads.map((payload) => [payload.slice(0, 40), payload]))(
  'a build that calls everything %j…',
  async (_, payload) => {
    const evil = `${payload}\nEOF\nevil<<EOF\n1\nEOF\n::error::x`;
    mkdirSync(step.path('kernel'), { recursive: true });
    writeFileSync(step.path('kernel', 'summary.md'), '# the record\n');
    const value = built.built;
    if (!value) throw new Error('no value');
    const building: JobCommands['build'] = async () => ({
      exit: 0,
      diagnostics: [],
      text: evil,
      value: {
        ...value,
        name: evil,
        kernelRelease: evil,
        versionString: evil,
        image: evil,
        artefacts: [{ name: evil, sha256: evil, size: 1 }],
        verdicts: [verdict('dropped', { option: evil, requested: evil, value: evil, message: evil })],
      },
    });
    expect(await run({ spec: 'gauge-station.yaml', job: 'build' }, { ...real, build: building })).toBe(0);
    expect(misdeeds('gauge-station.yaml')).toEqual([]);
    expect(step.outputs().get('kernel-release')).toBe(Buffer.from(evil).toString().replaceAll('\r\n', '\n'));
  },
);
