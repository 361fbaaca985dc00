/** The referee is git: what `git write-tree` calls a tree. */
import { execFileSync } from 'node:child_process';
import { chmodSync, mkdtempSync, rmSync, symlinkSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import fc from 'fast-check';
import { afterEach, beforeEach, expect, it } from 'vitest';

import { objectName } from '../../src/source/git-objects.ts';
import { treeOfArchive } from '../../src/source/git-tree.ts';
import { GitRepository } from './git-server.ts';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'quern-tree-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const signal = new AbortController().signal;

// of names that sort one way as a file and another way as a folder
const part = fc.string({ unit: fc.constantFrom('a', '.', '-', '0', 'é', '~'), minLength: 1, maxLength: 3 });
const path = fc
  .array(
    part.filter((name) => !/^\.+$/u.test(name) && name !== '.git'),
    { minLength: 1, maxLength: 3 },
  )
  .map((parts) => parts.join('/'));

it('trees are called as git calls them', async () => {
  await fc.assert(
    fc.asyncProperty(fc.uniqueArray(path, { minLength: 1, maxLength: 12 }), async (paths) => {
      // a file cannot be a folder as well
      const files = paths.filter((one) => !paths.some((other) => other.startsWith(`${one}/`)));
      const work = mkdtempSync(join(folder, 'work-'));
      const repository = GitRepository.make(work);
      for (const [nth, file] of files.entries()) {
        repository.write(file, `${nth}\n`);
        if (nth % 3 === 1) chmodSync(join(work, file), 0o755);
        if (nth % 3 !== 2) continue;
        rmSync(join(work, file));
        symlinkSync('weir', join(work, file));
      }
      const tree = repository.git('rev-parse', `${repository.commit()}^{tree}`);
      const tar = join(folder, 'archive.tar');
      repository.git('archive', '--format=tar', '--prefix=linux/', `--output=${tar}`, 'HEAD');
      expect((await treeOfArchive(tar, signal)).tree).toBe(tree);
    }),
    { numRuns: 12 },
  );
});

it('objects are called as git calls them', () => {
  const asked = (kind: string, text: string): string =>
    execFileSync('git', ['hash-object', '--literally', '-t', kind, '--stdin'], { input: text, cwd: folder })
      .toString()
      .trim();
  for (const [kind, text] of [
    ['blob', ''],
    ['blob', 'otter\n'],
    ['commit', 'tree\n'],
    ['tag', 'é'],
  ] as const) {
    expect(objectName(kind, Buffer.from(text))).toBe(asked(kind, text));
  }
});
