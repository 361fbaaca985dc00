import { execFileSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, readdirSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';

import { afterAll, beforeAll, describe, expect, it } from 'vitest';

import { packageRoot, packageVersion } from '../../src/host/package-root.ts';
import { builtCli } from '../setup/built-cli.ts';

const folder = mkdtempSync(join(tmpdir(), 'quern-packed-'));
const modules = join(folder, 'node_modules');
const installed = join(modules, 'quern');
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const output = (program: string, args: readonly string[], cwd: string): string =>
  execFileSync(program, args, { cwd, encoding: 'utf8' });

/** Puts the packed package where `npm install` would, with what it depends on at run time and nothing else. */
beforeAll(() => {
  builtCli();
  output('npm', ['pack', '--silent', '--ignore-scripts', '--pack-destination', folder], packageRoot());
  mkdirSync(installed, { recursive: true });
  const archive = join(folder, `quern-${packageVersion()}.tgz`);
  output('tar', ['-xzf', archive, '--strip-components=1', '-C', installed], folder);
  const needed = output('npm', ['ls', '--omit=dev', '--all', '--parseable'], packageRoot())
    .trim()
    .split('\n')
    .slice(1);
  const top = join(packageRoot(), 'node_modules');
  for (const path of needed.filter((one) => !one.slice(top.length).includes('node_modules'))) {
    const link = join(modules, path.slice(top.length + 1));
    mkdirSync(dirname(link), { recursive: true });
    symlinkSync(path, link);
  }
});

describe('the packed package', () => {
  it('holds what is needed, and neither source nor tests', () => {
    const names = readdirSync(installed);
    expect(names).toEqual(
      expect.arrayContaining(['LICENSE', 'README.md', 'dist', 'package.json', 'templates']),
    );
    const known = [
      'CHANGELOG.md',
      'LICENSE',
      'README.md',
      'SECURITY.md',
      'dist',
      'package.json',
      'src',
      'templates',
    ];
    expect(names.filter((name) => !known.includes(name))).toEqual([]);
    const list = (...path: string[]): string[] =>
      readdirSync(join(...path), { recursive: true, encoding: 'utf8' }).toSorted();
    expect(list(installed, 'templates')).toEqual(list(packageRoot(), 'templates'));
    const schemas = list(packageRoot(), 'src/cli/schemas').map((name) => `cli/schemas/${name}`);
    expect(list(installed, 'src')).toEqual(['cli', 'cli/schemas', ...schemas]);
  });

  it('hands out the schemas of what it prints', () => {
    const script = `import schema from 'quern/schemas/check.schema.json' with { type: 'json' };
      console.log(schema.description);`;
    writeFileSync(join(folder, 'schema.mjs'), script);
    expect(output(process.execPath, ['--no-warnings', 'schema.mjs'], folder)).toBe(
      'What `quern check --json` prints.\n',
    );
  });

  it('runs', () => {
    const cli = join(installed, 'dist/cli.js');
    expect(output(cli, ['--version'], folder)).toBe(`quern ${packageVersion()}\n`);
    expect(output(cli, ['--help'], folder)).toBe(output(builtCli(), ['--help'], folder));
  });

  it('finds its templates', () => {
    const script = `import { templatesFolder } from './node_modules/quern/dist/host/package-root.js';
      import { readdirSync } from 'node:fs';
      console.log(readdirSync(templatesFolder()).length > 0);`;
    expect(output(process.execPath, ['--input-type=module', '-e', script], folder)).toBe('true\n');
  });

  it('is a library with types', () => {
    const source = `import { commands, exitCodes, exitOf, Failure, type Diagnostic, type Host } from 'quern';
      const diagnostic: Diagnostic = { code: 'a/b', severity: 'error', exit: exitCodes.input, message: 'm', notes: [] };
      const host: Host | undefined = undefined;
      // @ts-expect-error a spec is a path
      const wrong: Parameters<NonNullable<typeof commands.check>>[0] = { spec: 1 };
      console.log(exitOf(new Failure(diagnostic).diagnostics), typeof commands, host, typeof wrong);`;
    writeFileSync(join(folder, 'use.mts'), source);
    writeFileSync(join(folder, 'package.json'), '{ "type": "module" }');
    symlinkSync(join(packageRoot(), 'node_modules/@types'), join(modules, '@types'));
    const tsc = join(packageRoot(), 'node_modules/.bin/tsc');
    const options = [
      '--module',
      'nodenext',
      '--target',
      'es2023',
      '--strict',
      '--skipLibCheck',
      '--types',
      'node',
    ];
    expect(output(tsc, [...options, 'use.mts'], folder)).toBe('');
    expect(output(process.execPath, ['use.mjs'], folder)).toBe('4 object undefined object\n');
  });
});
