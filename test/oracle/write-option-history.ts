/**
 * Makes src/kconfig/option-history-data.ts out of the Kconfig files of four trees:
 *
 *     npx tsx test/oracle/write-option-history.ts
 *
 * It takes names from the text of the files, of all architectures, and not from what our parser makes of them.
 */
import { readFileSync, readdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';

import { kernelSeries, kernelTree } from './kernel-trees.ts';

interface Entry {
  readonly prompts: Set<string>;
  transitional: boolean;
  readonly defaults: Set<string>;
}

export type Names = ReadonlyMap<string, Entry>;

/** Every option that a Kconfig file of the tree defines. */
export function namesOf(folder: string): Names {
  const names = new Map<string, Entry>();
  const files = readdirSync(folder, { recursive: true, encoding: 'utf8' })
    .filter((name) => path.basename(name).startsWith('Kconfig'))
    .filter((name) => !/^(?:Documentation|tools|scripts\/kconfig)\//u.test(name))
    .sort();
  for (const file of files) {
    let entry: Entry | undefined;
    for (const line of readFileSync(path.join(folder, file), 'latin1').split('\n')) {
      const name = /^\s*(?:menu)?config\s+(\w+)\s*$/u.exec(line)?.[1];
      if (name !== undefined) {
        entry = names.get(name) ?? { prompts: new Set(), transitional: false, defaults: new Set() };
        names.set(name, entry);
      } else if (/^\s*(?:choice|endchoice|menu|endmenu|if|endif|source)\b/u.test(line)) entry = undefined;
      if (!entry) continue;
      const prompt = /^\s+(?:bool|tristate|int|hex|string|prompt)\s+(["'])(.*)\1/u.exec(line)?.[2];
      if (prompt !== undefined) entry.prompts.add(prompt);
      const value = /^\s+default\s+(\w+)(?:\s+if\b.*)?$/u.exec(line)?.[1];
      if (value !== undefined) entry.defaults.add(value);
      if (/^\s+transitional\s*$/u.test(line)) entry.transitional = true;
    }
  }
  return names;
}

/** Which of the releases have a name, `0` or `1` for each; a name that all have is left out. */
export function histories(releases: readonly Names[]): ReadonlyMap<string, string> {
  const all = new Set(releases.flatMap((names) => [...names.keys()]));
  const found = new Map<string, string>();
  for (const name of [...all].sort()) {
    const bits = releases.map((names) => (names.has(name) ? '1' : '0')).join('');
    if (bits.includes('0')) found.set(name, bits);
  }
  return found;
}

function promptCounts(names: Names): ReadonlyMap<string, number> {
  const counts = new Map<string, number>();
  for (const { prompts } of names.values())
    for (const text of prompts) counts.set(text, (counts.get(text) ?? 0) + 1);
  return counts;
}

/**
 * Renames that the files themselves show. Same prompt: an option is gone in the next release, another one is new, and
 * both alone have the same prompt of two words at least. Transitional: the entry of the new one takes the old value.
 */
export function renamesOf(releases: readonly Names[]): readonly string[] {
  const found = new Set<string>();
  for (const [index, next] of releases.entries()) {
    for (const [name, { defaults }] of next) {
      for (const old of defaults)
        if (next.get(old)?.transitional === true) found.add(`${old} ${name} transitional`);
    }
    const before = releases[index - 1];
    if (!before) continue;
    const countsBefore = promptCounts(before);
    const counts = promptCounts(next);
    for (const [old, { prompts }] of before) {
      if (next.has(old)) continue;
      for (const text of prompts) {
        if (!/\S\s+\S/u.test(text) || countsBefore.get(text) !== 1 || counts.get(text) !== 1) continue;
        for (const [name, entry] of next) {
          if (!before.has(name) && entry.prompts.has(text)) found.add(`${old} ${name} same-prompt`);
        }
      }
    }
  }
  return [...found].sort();
}

/** Each name as the number of letters that it shares with the one before (in base 36), and the rest. */
function frontCode(names: readonly string[]): string {
  let before = '';
  const coded = names.map((name) => {
    let shared = 0;
    while (shared < 35 && shared < before.length && before[shared] === name[shared]) shared += 1;
    before = name;
    return `${shared.toString(36)}${name.slice(shared)}`;
  });
  return coded.join(' ');
}

function wrap(text: string): string {
  const lines = text.match(/.{1,104}(?: |$)/gu) ?? [];
  return lines.map((line) => `    '${line}',\n`).join('');
}

export function historyModule(
  packages: readonly string[],
  found: ReadonlyMap<string, string>,
  renames: readonly string[],
): string {
  const groups = new Map<string, string[]>();
  for (const [name, bits] of found) groups.set(bits, [...(groups.get(bits) ?? []), name]);
  const texts = [...groups]
    .sort(([a], [b]) => (a < b ? 1 : -1))
    .map(([bits, names]) => `  ['${bits}', [\n${wrap(frontCode(names))}  ]],\n`);
  return `/**
 * Options that not all of four releases have, and renames between them. Made by test/oracle/write-option-history.ts out of
 * the Kconfig files, of all architectures, in Debian's source packages ${packages.join(', ')}.
 */

export const lookedAt: readonly string[] = [${kernelSeries.map((name) => `'${name}'`).join(', ')}];

/**
 * For each set of releases (\`1\`: has it, in the order of \`lookedAt\`) the names, sorted: the number of letters shared with
 * the name before in base 36, then the rest.
 */
export const histories: readonly (readonly [string, readonly string[]])[] = [
${texts.join('')}];

/** The old name, the new one, and what shows that it is a rename. */
export const renames: readonly string[] = [
${renames.map((line) => `  '${line}',\n`).join('')}];
`;
}

/** What the file must hold today. */
export async function currentHistory(): Promise<{
  readonly releases: readonly Names[];
  readonly text: string;
}> {
  const releases: Names[] = [];
  const packages: string[] = [];
  for (const series of kernelSeries) {
    const tree = await kernelTree(series);
    releases.push(namesOf(tree.folder));
    packages.push(path.basename(tree.workshop).replace(/_all$/u, '').replaceAll('_', ' '));
  }
  return { releases, text: historyModule(packages, histories(releases), renamesOf(releases)) };
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  const { text } = await currentHistory();
  writeFileSync(path.join(import.meta.dirname, '../../src/kconfig/option-history-data.ts'), text);
}
