import { distance } from '../diagnostics/nearest.ts';
import type { Model } from './model.ts';
import { optionHistory } from './option-history.ts';
import type { OtherArchitectures } from './other-architectures.ts';
import type { UnknownReason } from './reason.ts';

/** Whether the tree defines an option for this architecture. */
export function isDefined(model: Model, option: string): boolean {
  const symbol = model.byName.get(option);
  return symbol !== undefined && symbol.type !== 'unknown';
}

/** Why a tree has no such option. */
export function explainUnknown(
  model: Model,
  option: string,
  elsewhere: OtherArchitectures | undefined,
): UnknownReason {
  const bare = option.replace(/^(?:CONFIG_)+/, '');
  if (bare !== option && bare !== '') {
    return { kind: 'doubled-prefix', instead: bare, exists: isDefined(model, bare) };
  }
  const other = elsewhere?.find(option);
  if (other) return { kind: 'other-architecture', ...other };
  const history = optionHistory(option);
  if (history) {
    const { releases, lookedAt, renames } = history;
    const renamed = renames.find((one) => isDefined(model, one.option)) ?? renames[0];
    return {
      kind: 'other-version',
      releases,
      lookedAt,
      renamed,
      renamedHere: renamed !== undefined && isDefined(model, renamed.option),
    };
  }
  const names = nearestOptions(model, option);
  return names.length > 0 ? { kind: 'misspelt', nearest: names } : { kind: 'no-such-option' };
}

const mostNames = 3;
/** More slips than these make another word; longer names are nobody's slip, and cost much to compare. */
const mostSlips = 3;
const longestName = 80;

/** At most three options whose names are near, the nearest first. */
function nearestOptions(model: Model, option: string): readonly string[] {
  const word = option.toUpperCase().replaceAll(/[-. ]/g, '_');
  if (word.length < 3 || word.length > longestName) return [];
  const letters = lettersOf(word);
  for (let slips = 0; slips <= Math.min(mostSlips, Math.ceil(word.length / 4)); slips += 1) {
    const found: string[] = [];
    for (const { name, type } of model.byName.values()) {
      if (type === 'unknown' || Math.abs(name.length - word.length) > slips) continue;
      // A slip takes one letter away and brings another one at most, which is found out faster than the distance.
      if (bitsOf(letters ^ lettersOf(name)) > 2 * slips || distance(word, name.toUpperCase()) > slips)
        continue;
      found.push(name);
      if (found.length === mostNames) return found;
    }
    if (found.length > 0) return found;
  }
  return model.byName.size === 0 ? [] : longerNames(model, word);
}

/** Names that begin with the whole word, or that the word begins with. */
function longerNames(model: Model, word: string): readonly string[] {
  const found: string[] = [];
  for (const { name, type } of model.byName.values()) {
    if (type === 'unknown' || name.length < 4) continue;
    if (name.startsWith(`${word}_`) || (name.length * 2 > word.length && word.startsWith(`${name}_`)))
      found.push(name);
    if (found.length === mostNames) break;
  }
  return found;
}

/** Which letters a word has, as a set of bits. */
function lettersOf(word: string): number {
  let letters = 0;
  for (let at = 0; at < word.length; at += 1) letters |= 1 << (word.charCodeAt(at) & 31);
  return letters;
}

function bitsOf(set: number): number {
  let count = 0;
  for (let rest = set; rest !== 0; rest &= rest - 1) count += 1;
  return count;
}
