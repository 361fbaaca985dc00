import type { MenuNode } from './model.ts';
import type { TreeFiles } from './tree-files.ts';

function indentOf(line: string): number {
  let width = 0;
  for (const character of line) {
    if (character === '\t') width = (width & ~7) + 8;
    else if (character === ' ') width += 1;
    else break;
  }
  return width;
}

/**
 * The help text of an entry, as the kernel's program shows it: without the indentation of its first line, tabs at the
 * start of lines as blanks, no blanks at their ends, no blank lines at its end.
 *
 * @param files the tree that the entry was read from
 * @returns `undefined` when the entry has none
 */
export function helpText(node: MenuNode, files: TreeFiles): string | undefined {
  const text = node.help && files.read(node.file);
  if (!node.help || text === undefined) return undefined;
  const lines = text.slice(node.help.start, node.help.end).split('\n');
  const base = indentOf(lines.find((line) => line.trim() !== '') ?? '');
  const shown = lines.map((line) => {
    const words = line.trim();
    return words === '' ? '' : ' '.repeat(Math.max(0, indentOf(line) - base)) + words;
  });
  return shown.join('\n').trimEnd();
}
