/**
 * Debian's own patches of its kernel: the source package `linux` of bookworm as the release has it (debian/patches of its
 * debian.tar.xz, some 165 of them), and of the tree that they belong to (its orig.tar.xz) the files that they touch.
 */
import { execFile } from 'node:child_process';
import { existsSync } from 'node:fs';
import { mkdir, readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import { promisify } from 'node:util';

import { testCache } from '../setup/engine.ts';
import { fetchSourcePackage, MissingInput } from './apt-root.ts';

const run = promisify(execFile);

export interface KernelPatches {
  /** Has the `series`, and below it the patches. */
  readonly patches: string;
  /** What the patches touch of the tree, as it is before them; nothing may be written there. */
  readonly tree: string;
  /** The tree's whole archive. */
  readonly archive: string;
}

/** @throws MissingInput where apt or the archive cannot be reached */
export async function debianKernelPatches(): Promise<KernelPatches> {
  const files = await fetchSourcePackage('linux', 'bookworm');
  const archive = files.find((file) => file.endsWith('.orig.tar.xz'));
  const debian = files.find((file) => file.endsWith('.debian.tar.xz'));
  if (archive === undefined || debian === undefined)
    throw new MissingInput('the source package linux has no tarballs');
  const workshop = path.join(testCache(), 'kernel-patches', path.basename(debian, '.debian.tar.xz'));
  const found = { patches: path.join(workshop, 'patches'), tree: path.join(workshop, 'tree'), archive };
  if (!existsSync(found.tree)) {
    await mkdir(workshop, { recursive: true });
    await run('flock', [path.join(workshop, 'lock'), 'sh', '-euc', unpack, 'sh', workshop, debian, archive], {
      maxBuffer: 64 << 20,
    });
  }
  return found;
}

/** Names are taken from the patches by grep, so that what is read of them elsewhere does not decide what is there. */
const unpack = `
workshop=$1 debian=$2 archive=$3
[ ! -e "$workshop/tree" ] || exit 0
cd "$workshop"
rm -rf incoming patches
mkdir incoming
tar -x -f "$debian" debian/patches
mv debian/patches patches
rmdir debian
top=$(xz -dc "$archive" 2>/dev/null | head -c 512 | tr '\\0' '\\n' | head -n 1)
grep -rhE '^(---|\\+\\+\\+) [^ ]*/|^rename from ' patches |
  sed -E 's/^(---|\\+\\+\\+) [^\\/]*\\///; s/^rename from //; s/[[:space:]].*$//' | sort -u | sed "s|^|$top|" >names
# files that are only made by the patches are not found
xz -dc "$archive" | tar -x -C incoming --strip-components=1 --no-same-owner -T names 2>missing || true
[ -e incoming/Makefile ]
mv incoming tree
`;

/** Lines of the series: names of patches, in order. */
export async function seriesOf({ patches }: KernelPatches): Promise<readonly string[]> {
  const text = await readFile(path.join(patches, 'series'), 'utf8');
  return text
    .split('\n')
    .map((line) => line.trim())
    .filter((line) => line !== '' && !line.startsWith('#'));
}

/** Path to content, in latin1, of what is in a folder. */
export async function contentOf(folder: string): Promise<ReadonlyMap<string, string>> {
  const found = new Map<string, string>();
  for (const entry of await readdir(folder, { recursive: true, withFileTypes: true })) {
    if (!entry.isFile()) continue;
    const full = path.join(entry.parentPath, entry.name);
    found.set(path.relative(folder, full), await readFile(full, 'latin1'));
  }
  return found;
}
