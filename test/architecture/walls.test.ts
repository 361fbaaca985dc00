import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

import { beforeAll, describe, expect, it } from 'vitest';

import { packageRoot } from '../../src/host/package-root.ts';
import { lintInCopy, type Finding } from './lint-in-copy.ts';

/**
 * The walls, written down a second time: which room may import which. The first time is the lint configuration; here
 * it is put to the proof, with one offending file for every pair of rooms and for every module that is walled off.
 */
const leafs = ['diagnostics', 'archive'];
const wings = [...leafs, 'kconfig', 'patch', 'image', 'environment'];
const core = [...wings, 'spec', 'kit', 'record', 'audit', 'compare', 'report'];
const effects = ['host', 'source', 'container', 'boot'];

const without = (rooms: readonly string[], ...these: readonly string[]): string[] =>
  rooms.filter((room) => !these.includes(room));

const mayImport: Readonly<Record<string, readonly string[]>> = {
  diagnostics: [],
  archive: ['diagnostics'],
  kconfig: leafs,
  patch: leafs,
  image: leafs,
  environment: leafs,
  spec: wings,
  kit: [...wings, 'spec', 'report'],
  record: [...wings, 'spec', 'kit'],
  audit: [...wings, 'spec', 'kit', 'record'],
  compare: without(core, 'compare', 'report'),
  report: core,
  host: core,
  source: [...core, 'host'],
  container: [...core, 'host'],
  boot: [...core, 'host'],
  commands: [...core, ...effects],
  cli: ['diagnostics', 'commands', 'host'],
};
const rooms = Object.keys(mayImport);

const browserRooms = ['diagnostics', 'archive', 'kconfig', 'patch', 'image', 'environment'];

/** A module that is not ours to where it may be used. */
const usersOf: Readonly<Record<string, readonly string[]>> = {
  'node:fs': without(rooms, ...core),
  'node:fs/promises': without(rooms, ...core),
  'node:child_process': without(rooms, ...core),
  'node:process': without(rooms, ...core),
  'node:os': without(rooms, ...core),
  'node:path': without(rooms, ...browserRooms),
  'node:crypto': [...without(rooms, ...core), 'record'],
  handlebars: ['kit', 'report'],
  zod: ['spec', 'record', ...effects],
  '@actions/core': [],
  '@actions/exec': [],
  '../index.ts': [],
  '../kconfig/index.ts': [],
  '../../action/main.ts': [],
  '../../test/setup/engine.ts': [],
};

/** A global to where it may be used. */
const globalsOf: Readonly<Record<string, readonly string[]>> = {
  process: without(rooms, ...core),
  fetch: without(rooms, ...core),
  Buffer: without(rooms, ...browserRooms),
  console: [],
};

const files = new Map<string, string>();
const add = (path: string, text: string): string => {
  files.set(path, text);
  return path;
};
const importing = (path: string, module: string): string =>
  add(path, `import { thing } from '${module}';\nexport const it = thing;\n`);
const slug = (module: string): string => module.replaceAll(/[^a-z]+/gu, '-');

const roomCases = rooms.flatMap((room) =>
  without(rooms, room).map((other) => ({
    path: importing(`src/${room}/probe-${other}.ts`, `../${other}/thing.ts`),
    allowed: mayImport[room]?.includes(other) ?? false,
  })),
);
const moduleCases = rooms.flatMap((room) =>
  Object.entries(usersOf).map(([module, users]) => ({
    path: importing(`src/${room}/module${slug(module)}.ts`, module),
    allowed: users.includes(room),
  })),
);
const globalCases = rooms.flatMap((room) =>
  Object.entries(globalsOf).map(([name, users]) => ({
    path: add(
      `src/${room}/global-${name.toLowerCase()}.ts`,
      `export const it: unknown = ${name}.toString();\n`,
    ),
    allowed: users.includes(room),
  })),
);
const otherCases = [
  [
    'a type is an import too',
    'src/kit/type.ts',
    `import type { A } from '../host/a.ts';\nexport type B = A;\n`,
  ],
  ['so is what is exported from elsewhere', 'src/kit/export.ts', `export { a } from '../host/a.ts';\n`],
  ['so is what is loaded later', 'src/kit/later.ts', `export const a = import('../host/a.ts');\n`],
  ['a folder in a room is in the room', 'src/kconfig/deep/a.ts', `export { a } from '../../spec/a.ts';\n`],
  ['the entry is an edge', 'src/cli.ts', `export { a } from './source/a.ts';\n`],
  ['commands do not know the command line', 'src/commands/a.ts', `export { a } from '../cli.ts';\n`],
  ['the Action is an edge', 'action/a.ts', `export { a } from '../src/kit/a.ts';\n`],
  ['the Action is no command line', 'action/b.ts', `export { a } from '../src/cli/a.ts';\n`],
  ['the Action fills no template', 'action/c.ts', `export { a } from 'handlebars';\n`],
].map(([name = '', path = '', text = '']) => ({ name, path: add(path, text) }));
const allowedCases = [
  ['the toolkit of the workflow in action/', 'action/main.ts', `export { info } from '@actions/core';\n`],
  [
    'the Action prints what report/ renders',
    'action/summary.ts',
    `export { a } from '../src/report/a.ts';\n`,
  ],
  ['the Action calls commands', 'action/run.ts', `export { a } from '../src/commands/a.ts';\n`],
  ['a room within itself', 'src/kit/own.ts', `export { a } from './deep/a.ts';\n`],
  ['a folder of a room with its room', 'src/kconfig/deep/b.ts', `export { a } from '../a.ts';\n`],
  ['types of the spec in environment/', 'src/environment/a.ts', `export type { A } from '../spec/a.ts';\n`],
  ['tests import everything', 'test/kit/a.test.ts', `export { a } from '../../src/host/a.ts';\n`],
].map(([name = '', path = '', text = '']) => ({ name, path: add(path, text) }));

/** A rule that guards how code is written, and a line that breaks it. */
const ruleCases = [
  ['import(no-default-export)', 'export default 1;'],
  ['import(no-cycle)', `import { b } from './cycle.ts';\nexport const a = (): number => b();`],
  ['import(no-cycle)', `import type { B } from './type-cycle.ts';\nexport interface A { readonly b: B }`],
  [
    'typescript(no-floating-promises)',
    `const f = async (): Promise<void> => {};\nexport const g = (): void => { f(); };`,
  ],
  ['typescript(no-misused-promises)', `export const f = (x: string[]): void => x.forEach(async () => {});`],
  [
    'typescript(switch-exhaustiveness-check)',
    `export function f(x: 'a' | 'b'): void { switch (x) { case 'a': return; } }`,
  ],
  ['typescript(consistent-type-imports)', `import { A } from './a.ts';\nexport const a = (x: A): A => x;`],
  ['typescript(no-explicit-any)', 'export const a = (x: any): unknown => x;'],
  ['typescript(no-non-null-assertion)', 'export const a = (x: string | undefined): string => x!;'],
  ['typescript(ban-ts-comment)', '// @ts-ignore\nexport const a = 1;'],
  ['unicorn(prefer-node-protocol)', `import { join } from 'path';\nexport const a = join;`],
  ['eslint(eqeqeq)', 'export const a = (x: unknown): boolean => x == 1;'],
].map(([rule = '', text = ''], index) => ({ rule, path: add(`src/commands/rule-${index}.ts`, `${text}\n`) }));
add('src/commands/cycle.ts', `import { a } from './rule-1.ts';\nexport const b = (): number => a();\n`);
add(
  'src/commands/type-cycle.ts',
  `import type { A } from './rule-2.ts';\nexport interface B { readonly a: A }\n`,
);

const wallRules = ['eslint(no-restricted-imports)', 'eslint(no-restricted-globals)', 'eslint(no-console)'];

let findings = new Map<string, Finding[]>();
beforeAll(() => {
  findings = lintInCopy(files);
}, 120_000);

const isWalledOff = (path: string): boolean =>
  (findings.get(path) ?? []).some(({ rule }) => wallRules.includes(rule));

describe('walls', () => {
  it.each([
    ['between rooms', roomCases],
    ['around modules', moduleCases],
    ['around globals', globalCases],
  ])('%s stand where they are meant to stand', (_, cases) => {
    const wanted = Object.fromEntries(cases.map(({ path, allowed }) => [path, allowed ? 'open' : 'wall']));
    const found = Object.fromEntries(cases.map(({ path }) => [path, isWalledOff(path) ? 'wall' : 'open']));
    expect(found).toEqual(wanted);
  });

  it.each(otherCases)('$name', ({ path }) => {
    expect(isWalledOff(path)).toBe(true);
  });

  it.each(allowedCases)('open: $name', ({ path }) => {
    expect(isWalledOff(path)).toBe(false);
  });

  it('every room that there is has its walls', () => {
    const folders = readdirSync(join(packageRoot(), 'src'), { withFileTypes: true })
      .filter((entry) => entry.isDirectory())
      .map(({ name }) => name);
    expect(rooms).toEqual(expect.arrayContaining(folders));
  });

  it('every reason that the configuration gives was given for one of the files above', () => {
    const text = readFileSync(join(packageRoot(), '.oxlintrc.json'), 'utf8');
    const reasons = new Set([...text.matchAll(/"message": "([^"]*)"/gu)].map(([, reason = '']) => reason));
    const given = [...findings.values()].flat().map((finding) => finding.text);
    expect(reasons.size).toBeGreaterThan(15);
    expect([...reasons].filter((reason) => !given.some((one) => one.includes(reason)))).toEqual([]);
  });
});

describe('rules', () => {
  it.each(ruleCases)('$rule', ({ rule, path }) => {
    expect(findings.get(path)?.map((finding) => finding.rule)).toContain(rule);
  });
});
