import { histories, lookedAt, renames } from './option-history-data.ts';
import type { Rename } from './reason.ts';

export interface OptionHistory {
  /** The releases that have it, of `lookedAt`. */
  readonly releases: readonly string[];
  readonly lookedAt: readonly string[];
  /** What it is called elsewhere: newer names first. */
  readonly renames: readonly Rename[];
}

let decoded: ReadonlyMap<string, string> | undefined;

function decodeAll(): ReadonlyMap<string, string> {
  const all = new Map<string, string>();
  for (const [bits, lines] of histories) {
    let before = '';
    for (const coded of lines.join('').split(' ')) {
      if (coded === '') continue;
      before = before.slice(0, Number.parseInt(coded.charAt(0), 36)) + coded.slice(1);
      all.set(before, bits);
    }
  }
  return all;
}

/**
 * What is known of an option over the releases of the kernel. An option that all releases looked at have is not listed:
 * of it nothing is known here.
 */
export function optionHistory(option: string): OptionHistory | undefined {
  decoded ??= decodeAll();
  const bits = decoded.get(option);
  if (bits === undefined) return undefined;
  return {
    releases: lookedAt.filter((_, index) => bits.charAt(index) === '1'),
    lookedAt,
    renames: [...renamesFrom(option, 0), ...renamesFrom(option, 1)],
  };
}

/** @param side 0 to look for what came after, 1 for what was before */
function renamesFrom(option: string, side: 0 | 1): Rename[] {
  const found: Rename[] = [];
  for (const line of renames) {
    const words = line.split(' ');
    if (words[side] !== option) continue;
    const evidence = words[2] === 'transitional' ? 'transitional' : 'same-prompt';
    found.push({ option: words[1 - side] ?? '', evidence });
  }
  return found;
}
