/** The middle one of some figures; halfway between the two in the middle when their number is even. */
export function median(figures: readonly number[]): number {
  const sorted = figures.toSorted((a, b) => a - b);
  const upper = sorted[Math.floor(sorted.length / 2)];
  const lower = sorted[Math.floor((sorted.length - 1) / 2)];
  if (upper === undefined || lower === undefined) throw new RangeError('no figures, and so no median');
  return (upper + lower) / 2;
}

/** `figure` over `base`. @throws RangeError when there is nothing to divide by */
export function ratio(figure: number, base: number): number {
  if (!(base > 0)) throw new RangeError(`a ratio to ${base} says nothing`);
  return figure / base;
}

/** Lines of a table for a terminal: the first column is text, the others are figures and end at the same place. */
export function formatTable(head: readonly string[], rows: readonly (readonly string[])[]): string {
  const lines = [head, ...rows];
  const widths = head.map((_, column) => Math.max(...lines.map((line) => (line[column] ?? '').length)));
  const format = (line: readonly string[]): string =>
    widths
      .map((width, column) => {
        const cell = line[column] ?? '';
        return column === 0 ? cell.padEnd(width) : cell.padStart(width);
      })
      .join('   ')
      .trimEnd();
  const [first = '', ...rest] = lines.map(format);
  return [first, '-'.repeat(first.length), ...rest, ''].join('\n');
}
