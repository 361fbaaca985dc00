import { readFileSync } from 'node:fs';
import { basename, join } from 'node:path';

import Handlebars from 'handlebars';
import { describe, expect, it } from 'vitest';

import { packageRoot } from '../../src/host/package-root.ts';
import { filesIn, topLevelNames } from './project-files.ts';

const read = (path: string): string => readFileSync(join(packageRoot(), path), 'utf8');

describe('names', () => {
  it('at the top there is what was agreed on, and nothing else', () => {
    const rooms = ['action', 'src', 'templates', 'test', '.github', '.ci'];
    const documents = ['README.md', 'DEVELOPERS.md', 'CHANGELOG.md', 'LICENSE', 'SECURITY.md'];
    const manifests = ['package.json', 'package-lock.json', 'action.yml'];
    const settings =
      /^(tsconfig(\.[a-z]+)?\.json|\.oxlintrc\.json|\.prettierrc\.json|\.prettierignore|vitest\.config\.ts|knip\.json|\.gitignore|\.gitattributes|\.editorconfig|\.npmrc)$/u;
    const agreed = new Set([...rooms, ...documents, ...manifests]);
    expect(topLevelNames().filter((name) => !agreed.has(name) && !settings.test(name))).toEqual([]);
  });

  it('no drawer: what a file is about is in its name', () => {
    const drawers = filesIn('src', 'action', 'test', 'templates').filter((path) =>
      /(^|\/)(utils?|helpers?|common|misc|shared|lib)(\/|\.)/u.test(path),
    );
    expect(drawers).toEqual([]);
  });

  it('files of code are kebab-case', () => {
    const odd = filesIn('src', 'action', 'test').filter(
      (path) =>
        path.endsWith('.ts') && !/^[a-z0-9]+(-[a-z0-9]+)*(\.slow)?(\.test)?\.ts$/u.test(basename(path)),
    );
    expect(odd).toEqual([]);
  });

  it('the tests stand where the code stands', () => {
    const ownRooms = ['architecture', 'setup', 'oracle', 'e2e', 'bench', 'action'];
    const rooms = new Set(filesIn('src').map((path) => path.split('/')[1]));
    const strays = filesIn('test').filter((path) => {
      const room = path.split('/')[1] ?? '';
      return !rooms.has(room) && !ownRooms.includes(room);
    });
    expect(strays).toEqual([]);
  });
});

describe('doors', () => {
  const doors = ['src/index.ts', 'src/kconfig/index.ts'];
  const passesOn = /^export (type )?(\*|\{[^}]*\})[^;]*? from '/mu;

  it('are the only files that pass on what others export', () => {
    const barrels = filesIn('src', 'action').filter(
      (path) => path.endsWith('.ts') && passesOn.test(read(path)) && !doors.includes(path),
    );
    expect(barrels).toEqual([]);
  });

  it('hold nothing else, and name what they pass on', () => {
    for (const door of doors.filter((path) => filesIn('src').includes(path))) {
      const rest = read(door)
        .replaceAll(/\/\*\*.*?\*\//gsu, '')
        .replaceAll(/^export (type )?\{[^}]*\} from '[^']*';$/gmu, '');
      expect(rest.trim()).toBe('');
    }
  });
});

/** The helpers that print: each quotes its value for one place. Another one is added here when it has its tests. */
const quotingHelpers = ['sh', 'word', 'line', 'md', 'text', 'sentence', 'code', 'scalar', 'comment'];
const builtInBlocks = ['if', 'unless', 'each', 'with'];

/** What a template does that it must not: empty when all is well. */
function faultsIn(source: string): string[] {
  const faults: string[] = [];
  const visitor = new Handlebars.Visitor();
  visitor.MustacheStatement = (statement) => {
    const { path, params, escaped, loc } = statement;
    const name = 'original' in path ? String(path.original) : '';
    const place = `line ${loc.start.line}: ${name}`;
    if (!escaped) faults.push(`${place} is printed as it is`);
    else if (!quotingHelpers.includes(name)) faults.push(`${place} does not quote`);
    else if (params.length !== 1 || params[0]?.type !== 'PathExpression')
      faults.push(`${place} does not quote one value`);
  };
  visitor.BlockStatement = function (block) {
    const name = String(block.path.original);
    if (!builtInBlocks.includes(name))
      faults.push(`line ${block.loc.start.line}: ${name} is no block of ours`);
    Handlebars.Visitor.prototype.BlockStatement.call(this, block);
  };
  const refuse = ({ loc }: hbs.AST.Node): void => {
    faults.push(`line ${loc.start.line}: a decorator`);
  };
  visitor.Decorator = refuse;
  visitor.DecoratorBlock = refuse;
  visitor.accept(Handlebars.parse(source));
  return faults;
}

describe('templates', () => {
  it.each([
    [
      'a value with its helper',
      '{{sh name}} {{#each all}}{{word this}} {{word @key}} {{line ../x.y}}{{/each}}',
      0,
    ],
    ['around white space', '{{~ sh name ~}}', 0],
    ['a part, a condition and a remark', '{{> tree}}{{#if a}}x{{else}}y{{/if}}{{! {{x}} }}', 0],
    ['a raw value', '{{name}}', 1],
    ['a raw value in a block, and in its other half', '{{#if a}}{{name}}{{else}}{{this}}{{/if}}', 2],
    ['three braces', '{{{sh name}}}', 1],
    ['an ampersand, which is the same', '{{& sh name}}', 1],
    ['a helper that does not quote', '{{lookup a b}}', 1],
    ['a helper without a value', '{{sh}}', 1],
    ['a value that is worked out on the spot', '{{sh (lookup a b)}}', 1],
    ['a block of somebody else', '{{#sh name}}{{/sh}}', 1],
    ['a decorator', '{{* inline}}', 1],
  ])('this check sees: %s', (_, source, faults) => {
    expect(faultsIn(source)).toHaveLength(faults);
  });

  const templates = filesIn('templates').filter((path) => path.endsWith('.hbs'));

  it('there are some', () => {
    expect(templates.length).toBeGreaterThan(0);
  });

  it.each(templates)('%s prints every value through the helper for its place', (path) => {
    expect(faultsIn(read(path))).toEqual([]);
  });
});
