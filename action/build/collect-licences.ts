import { readdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';

interface About {
  readonly name: string;
  readonly version: string;
  readonly licence: string;
  readonly author: string;
}

const preface = `What the program beside this file is made of, besides Quern itself, which is under the Apache License 2.0.

Any of it can be exchanged for another version: install that, and build again ("npm run build", "npm run build:action").
`;

/** The text that is called MIT (SPDX licence list), for packages that name it and leave it out. */
const mit = (holder: string): string => `Copyright (c) ${holder}

Permission is hereby granted, free of charge, to any person obtaining a copy of this software and associated
documentation files (the "Software"), to deal in the Software without restriction, including without limitation the
rights to use, copy, modify, merge, publish, distribute, sublicense, and/or sell copies of the Software, and to permit
persons to whom the Software is furnished to do so, subject to the following conditions:

The above copyright notice and this permission notice shall be included in all copies or substantial portions of the
Software.

THE SOFTWARE IS PROVIDED "AS IS", WITHOUT WARRANTY OF ANY KIND, EXPRESS OR IMPLIED, INCLUDING BUT NOT LIMITED TO THE
WARRANTIES OF MERCHANTABILITY, FITNESS FOR A PARTICULAR PURPOSE AND NONINFRINGEMENT. IN NO EVENT SHALL THE AUTHORS OR
COPYRIGHT HOLDERS BE LIABLE FOR ANY CLAIM, DAMAGES OR OTHER LIABILITY, WHETHER IN AN ACTION OF CONTRACT, TORT OR
OTHERWISE, ARISING FROM, OUT OF OR IN CONNECTION WITH THE SOFTWARE OR THE USE OR OTHER DEALINGS IN THE SOFTWARE.
`;

/**
 * The licences of all packages that files come from, as one text, sorted by name.
 *
 * @param root the project's folder
 * @param files paths from there; those below `node_modules` count
 * @throws Error when a package names no licence, or lacks its text: what is bundled is passed on, and that needs one
 */
export async function collectLicences(root: string, files: readonly string[]): Promise<string> {
  const folders = new Set(files.flatMap((file) => packageFolder(file) ?? []));
  const parts = await Promise.all([...folders].map((folder) => describePackage(join(root, folder))));
  return `${preface}\n${[...new Set(parts)].sort().join('\n')}`;
}

/** `node_modules/a/node_modules/@b/c/lib/d.js` → `node_modules/a/node_modules/@b/c`. */
function packageFolder(file: string): string | undefined {
  return /^(?:.*\/)?node_modules\/(?:@[^/]+\/)?[^/]+/u.exec(file)?.[0];
}

async function describePackage(folder: string): Promise<string> {
  const about = readAbout(await readFile(join(folder, 'package.json'), 'utf8'), folder);
  const names = (await readdir(folder))
    .filter((file) => /^(?:licen[cs]e|copying|notice)/iu.test(file))
    .sort();
  const texts = await Promise.all(names.map((file) => readFile(join(folder, file), 'utf8')));
  const body = texts.map((text) => `${text.replaceAll('\r\n', '\n').trim()}\n`).join('\n');
  const { name, version, licence, author } = about;
  if (body === '' && licence !== 'MIT') throw new Error(`${folder} holds no text of its licence`);
  return `${'-'.repeat(78)}\n${name} ${version} (${licence})\n\n${body === '' ? mit(author) : body}`;
}

function readAbout(text: string, folder: string): About {
  const about: unknown = JSON.parse(text);
  if (typeof about === 'object' && about !== null) {
    const { name, version, license, author } = about as Readonly<Record<string, unknown>>;
    if (typeof name === 'string' && typeof version === 'string' && typeof license === 'string') {
      return { name, version, licence: license, author: holderOf(author, name) };
    }
  }
  throw new Error(`${folder} names no licence`);
}

function holderOf(author: unknown, name: string): string {
  if (typeof author === 'string') return author;
  if (typeof author === 'object' && author !== null && 'name' in author && typeof author.name === 'string')
    return author.name;
  return `the authors of ${name}`;
}
