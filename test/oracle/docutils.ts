/** Tables of reStructuredText as docutils reads them, with the Python of this machine. */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, renameSync, rmSync } from 'node:fs';
import path from 'node:path';

import { testCache } from '../setup/engine.ts';
import { fetchPackage, MissingInput } from './apt-root.ts';

const program = `
import json, sys
from docutils import nodes
from docutils.core import publish_doctree
tree = publish_doctree(open(sys.argv[1], encoding='utf-8').read(), settings_overrides={'report_level': 5})
table = next(iter(tree.findall(nodes.table)))
body = next(iter(table.findall(nodes.tbody)))
rows = [[entry.astext() for entry in row.findall(nodes.entry)] for row in body.findall(nodes.row)]
json.dump(rows, sys.stdout)
`;

/**
 * The rows of the first table of a document, without its head: the text of each cell.
 *
 * @throws MissingInput where there is no Python, or the archive cannot be reached
 */
export async function firstTable(file: string): Promise<readonly (readonly string[])[]> {
  if (!existsSync('/usr/bin/python3')) throw new MissingInput('needs /usr/bin/python3');
  const choice = { release: 'bookworm' } as const;
  const debs = [await fetchPackage('python3-docutils', choice), await fetchPackage('python3-roman', choice)];
  const folders = debs.map((deb) => path.join(unpacked(deb), 'usr/lib/python3/dist-packages'));
  const env = { PYTHONPATH: folders.join(':'), LC_ALL: 'C.UTF-8' };
  const rows: unknown = JSON.parse(
    execFileSync('/usr/bin/python3', ['-c', program, file], { env, encoding: 'utf8' }),
  );
  return rows as readonly (readonly string[])[];
}

/** The folder in the tests' cache that a package is unpacked in, once. */
function unpacked(deb: string): string {
  const folder = path.join(testCache(), path.basename(deb, '.deb'));
  if (existsSync(folder)) return folder;
  const aside = mkdtempSync(`${folder}-`);
  execFileSync('dpkg-deb', ['-x', deb, aside]);
  try {
    renameSync(aside, folder);
  } catch (error) {
    // somebody else was quicker
    rmSync(aside, { recursive: true });
    if (!existsSync(folder)) throw error;
  }
  return folder;
}
