import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { basename, dirname } from 'node:path';

import { format, resolveConfig } from 'prettier';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';

import { commandTable } from '../../src/cli/command-table.ts';
import type { OptionsOf } from '../../src/commands/options.ts';
import { booted, built } from '../action/reports.ts';
import { makeRecord, type TestRecord } from '../boot/world.ts';
import { bzImage } from '../image/bz-image.ts';
import { commandSchemas } from './command-schemas.ts';
import { makePinnedTree, options, type PinnedTree } from './pinned-tree.ts';
import { faultsIn, schemaFile } from './printed-json.ts';
import { runCli } from './run-cli.ts';

type CommandName = keyof OptionsOf;

const names = Object.keys(commandTable) as CommandName[];
const committed = (name: CommandName): Record<string, unknown> =>
  JSON.parse(readFileSync(schemaFile(name), 'utf8')) as Record<string, unknown>;

describe('the schemas', () => {
  it('are those that the types give (UPDATE_SCHEMA=1 npx vitest run test/cli/json-schema.test.ts)', async () => {
    for (const [name, schema] of commandSchemas()) {
      const file = schemaFile(name);
      const style = await resolveConfig(file);
      const text = await format(JSON.stringify(schema), { ...style, parser: 'json' });
      if (process.env['UPDATE_SCHEMA']) writeFileSync(file, text);
      expect(readFileSync(file, 'utf8')).toBe(text);
    }
  }, 120_000);

  it('are there for every command, and for nothing else', () => {
    const files = readdirSync(dirname(schemaFile('check')));
    expect(files).toEqual(names.map((name) => basename(schemaFile(name))).sort());
  });

  it.each(names)('let nothing into %s that is not named', (name) => {
    const open: string[] = [];
    const visit = (schema: unknown, place: string): void => {
      if (typeof schema !== 'object' || schema === null) return;
      const isObject = 'type' in schema && schema.type === 'object';
      if (isObject && !('additionalProperties' in schema && schema.additionalProperties === false)) {
        open.push(place);
      }
      const isTable = /\/(?:properties|\$defs)$/u.test(place);
      if (!Array.isArray(schema) && !isTable && !['type', '$ref', 'anyOf'].some((key) => key in schema)) {
        open.push(place);
      }
      for (const [key, child] of Object.entries(schema)) visit(child, `${place}/${key}`);
    };
    visit(committed(name), '');
    expect(open).toEqual([]);
  });

  it('list what a script may branch on', () => {
    expect(committed('check')['$defs']).toMatchObject({
      ExitCode: { enum: [0, 1, 2, 3, 4, 70, 130] },
      Severity: { enum: ['error', 'warning', 'note'] },
      VerdictKind: { enum: ['unknown', 'invalid', 'kept', 'raised', 'lowered', 'dropped'] },
    });
  });
});

describe('what is printed', () => {
  let station: PinnedTree;
  let record: TestRecord;
  beforeAll(async () => {
    station = await makePinnedTree();
    // cli; hlt; jmp back: a kernel that says nothing
    record = makeRecord({ image: bzImage({ start: [0xfa, 0xf4, 0xeb, 0xfc] }) });
  });
  afterAll(() => {
    station.remove();
    record.dispose();
  });

  const print = (words: string): Promise<string> =>
    station.quern(`${words} --json`.replace('RECORD', record.folder));

  it.each<[CommandName, string, number]>([
    ['check', 'gauge.yaml', 0],
    ['check', 'wrong.yaml --lock gauge.lock.json', 2],
    ['pin', 'gauge.yaml', 0],
    ['kit', 'gauge.yaml -o kit', 0],
    ['keep', 'gauge.yaml -o kept', 0],
    ['config', 'gauge.yaml', 0],
    ['config', 'gauge.yaml -o gauge.out', 0],
    ['config', 'wrong.yaml --lock gauge.lock.json', 1],
    ['config', '--tree linux --arch x86_64 --probe-host --set CONFIG_CONFIG_PIER=y --set LEVEL=3', 1],
    ['why', 'gauge.yaml SONAR=n', 0],
    ['why', 'gauge.yaml LEVEL=12', 1],
    ['why', 'gauge.yaml OTTERS_WEAR_HATS', 0],
    ['verify', 'RECORD', 4],
    ['boot', 'RECORD --timeout 1', 1],
  ])('is valid: quern %s %s', async (name, words, exit) => {
    const printed = await print(`${name} ${words}`);
    expect(JSON.parse(printed)).toMatchObject({ command: name, exit });
    expect(JSON.parse(printed)).not.toHaveProperty('trace');
    expect(faultsIn(name, printed)).toEqual([]);
  });

  it.each(['gauge.yaml', 'wrong.yaml --lock gauge.lock.json'])(
    'is valid whatever the option: quern why, %s',
    async (spec) => {
      for (const option of options) {
        const printed = await print(`why ${spec} ${option}`);
        expect(JSON.parse(printed)).toMatchObject({ exit: 0, option });
        expect(faultsIn('why', printed)).toEqual([]);
      }
    },
  );

  it('gives every kind of reason', async () => {
    const kindsOf = (value: unknown): string[] =>
      [...JSON.stringify(value).matchAll(/"kind":\{"type":"string","const":"([^"]+)"\}/gu)].map(
        ([, kind]) => kind ?? '',
      );
    const { Reason, UnknownReason, InvalidReason } = committed('check')['$defs'] as Record<string, unknown>;
    const printed = [
      await print('check wrong.yaml --lock gauge.lock.json'),
      await print('config --tree linux --arch x86_64 --probe-host --set CONFIG_CONFIG_PIER=y'),
    ];
    const verdicts = printed.flatMap(
      (text) => (JSON.parse(text) as { verdicts: { reason: { kind: string } }[] }).verdicts,
    );
    // of a configuration that was made from other requests, which no command does
    const never = 'not-taken';
    expect(new Set([...verdicts.map(({ reason }) => reason.kind), never])).toEqual(
      new Set(kindsOf([Reason, UnknownReason, InvalidReason])),
    );
  });

  it.each<[CommandName, string, object | undefined]>([
    ['build', 'gauge.yaml -o out', built.built],
    ['boot', 'out', booted.booted],
  ])('is valid: quern %s %s, with what it is known to answer', async (name, words, value) => {
    if (!value) throw new Error('no value');
    const command = async () => ({ exit: 0, diagnostics: [], value }) as const;
    const { stdout } = await runCli([name, ...words.split(' '), '--json'], { command });
    expect(faultsIn(name, stdout)).toEqual([]);
  });

  const operands: Readonly<Record<CommandName, string>> = {
    new: 'Otter',
    check: 'none.yaml',
    pin: 'none.yaml',
    kit: 'none.yaml -o out',
    keep: 'none.yaml -o out',
    environment: 'none.yaml',
    build: 'none.yaml -o out',
    config: 'none.yaml',
    why: 'none.yaml PIER',
    verify: 'none',
    boot: 'none',
    store: '--unused 3',
  };

  it.each(names)('is valid when quern %s cannot go on', async (name) => {
    const alone = commandTable[name].operands.length > 0 ? [name] : [];
    for (const words of [`${name} ${operands[name]}`, `${name} ${operands[name]} --otter`, ...alone]) {
      const printed = await print(words);
      expect(JSON.parse(printed)).toMatchObject({ command: name, exit: 2 });
      expect(faultsIn(name, printed)).toEqual([]);
    }
    const traced = await print(`${name} ${operands[name]} --debug`);
    expect(JSON.parse(traced)).toMatchObject({ trace: expect.stringContaining('Failure') });
    expect(faultsIn(name, traced)).toEqual([]);
  });

  it.each(names)('is valid when quern %s is asked for its help', async (name) => {
    const printed = await print(`${name} --help`);
    expect(JSON.parse(printed)).toMatchObject({ help: expect.stringContaining(`quern ${name}`) });
    expect(faultsIn(name, printed)).toEqual([]);
  });

  it.each<[string, string, string]>([
    ['a verdict of another kind', '"verdict": "kept"', '"verdict": "keeped"'],
    ['a reason of another kind', '"kind": "as-asked"', '"kind": "as-wished"'],
    ['a reason of another kind’s members', '"kind": "as-asked"', '"kind": "selected"'],
    ['another exit code', '"exit": 0', '"exit": 5'],
    ['an exit code in quotes', '"exit": 0', '"exit": "0"'],
    ['another severity', '"severity": "warning"', '"severity": "fatal"'],
    ['another command', '"command": "check"', '"command": "build"'],
    ['half a line', '"line": 1', '"line": 1.5'],
    ['a value that is no text', '"value": "7"', '"value": 7'],
    ['a member that is missing', '"option": "LEVEL",', ''],
    ['an answer that is missing', '"pinned": true,', ''],
  ])('is refused with %s', async (_, from, to) => {
    const printed = await print('check gauge.yaml');
    expect(printed).toContain(from);
    expect(faultsIn('check', printed)).toEqual([]);
    expect(faultsIn('check', printed.replace(from, to))).not.toEqual([]);
  });

  it('is refused with a member too many, wherever it is', async () => {
    const printed = await print('why wrong.yaml SONAR --lock gauge.lock.json');
    const places = [...printed.matchAll(/\{(?=\n)/gu)].map(({ index }) => index + 1);
    expect(places.length).toBeGreaterThan(10);
    for (const place of places) {
      const damaged = `${printed.slice(0, place)}"otter": 1,${printed.slice(place)}`;
      expect(faultsIn('why', damaged)).not.toEqual([]);
    }
  });
});
