/**
 * The verdict on one request by value alone, first match: unknown, invalid, kept, raised, lowered, dropped. Why the
 * value came out so is not known here; the message says what the value itself tells.
 */
import { quoted } from '../diagnostics/printable.ts';
import { quoteString, unquoteString } from './quote.ts';

export type VerdictKind = 'unknown' | 'invalid' | 'kept' | 'raised' | 'lowered' | 'dropped';

/** What the option turned out to be, as far as its value in the configuration tells. */
export type ValueType = 'tristate' | 'number' | 'string';

export type Reason =
  | { readonly kind: 'as-asked' }
  | { readonly kind: 'no-such-option' }
  /** The value is of another type than the option; `instead` would fit. */
  | { readonly kind: 'wrong-type'; readonly type: ValueType; readonly instead?: string }
  /** The configuration does not mention the option. */
  | { readonly kind: 'not-offered' }
  /** The configuration has another value; what decided so does not show in it. */
  | { readonly kind: 'decided-otherwise' };

export interface Judgement {
  readonly verdict: VerdictKind;
  readonly reason: Reason;
  /** The reason in one sentence. */
  readonly message: string;
}

/** Bytes, one per character, as the text they are in UTF-8; as they are when they are none. */
export function showBytes(latin1: string): string {
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(
      Uint8Array.from(latin1, (byte) => byte.charCodeAt(0)),
    );
  } catch {
    return latin1;
  }
}

function typeOf(value: string): ValueType {
  if (/^[ymn]$/.test(value)) return 'tristate';
  return value.startsWith('"') ? 'string' : 'number';
}

function numberOf(value: string): bigint | undefined {
  return /^-?[0-9]+$/.test(value) ? BigInt(value) : undefined;
}

function hexOf(value: string): bigint | undefined {
  return /^0[xX][0-9a-fA-F]+$/.test(value) ? BigInt(value) : undefined;
}

/** Both as numbers when both are written the same way; `16` and `0x10` are values of different types. */
function asNumbers(one: string, other: string): readonly [bigint, bigint] | undefined {
  for (const read of [numberOf, hexOf]) {
    const [left, right] = [read(one), read(other)];
    if (left !== undefined && right !== undefined) return [left, right];
  }
  return undefined;
}

function isSame(requested: string, value: string): boolean {
  if (requested === value) return true;
  const numbers = asNumbers(requested, value);
  if (numbers) return numbers[0] === numbers[1];
  const text = unquoteString(requested);
  return text !== undefined && text === unquoteString(value);
}

const order = 'nmy';

function isHigher(value: string, requested: string): boolean {
  if (typeOf(value) === 'tristate') return order.indexOf(value) > order.indexOf(requested);
  const numbers = asNumbers(value, requested);
  return numbers !== undefined && numbers[0] > numbers[1];
}

const typeNames: Readonly<Record<ValueType, string>> = {
  tristate: 'y, m or n',
  number: 'a number',
  string: 'a string in quotes',
};

function wrongType(requested: string, type: ValueType): Judgement {
  const text = unquoteString(requested) ?? requested;
  const fits = { tristate: /^[ymn]$/, number: /^(?:-?[0-9]+|0[xX][0-9a-fA-F]+)$/, string: /^/ }[type].test(
    text,
  );
  const instead = !fits ? undefined : type === 'string' ? quoteString(text) : text;
  const advice = instead === undefined ? '' : `; write ${quoted(showBytes(instead))}`;
  return {
    verdict: 'invalid',
    reason: { kind: 'wrong-type', type, ...(instead !== undefined && { instead }) },
    message: `the option takes ${typeNames[type]}${advice}`,
  };
}

function decided(verdict: VerdictKind, message: string): Judgement {
  return { verdict, reason: { kind: 'decided-otherwise' }, message };
}

function explainOther(requested: string, value: string): Judgement {
  if (isHigher(value, requested)) {
    if (typeOf(value) === 'number')
      return decided('raised', 'a range or a default of the tree gives a higher number');
    const state = requested === 'm' ? 'be a module' : 'be switched off by hand';
    return decided('raised', `another option that is on selects it, or it cannot ${state}`);
  }
  if (requested === 'y' && value === 'm') {
    return decided('lowered', 'something it depends on is itself a module');
  }
  const message =
    typeOf(value) === 'tristate'
      ? 'it could be set, and is off: as a rule because another option of the same choice was taken'
      : 'the configuration has another value: out of range, or not open to be set by hand';
  return decided('dropped', message);
}

/**
 * @param requested as it stands behind `CONFIG_X=`
 * @param found what the resolved configuration has; `undefined` when it does not mention the option
 * @param known whether the tree has the option at all; `undefined` when that is not known
 */
export function judgeValue(
  requested: string,
  found: string | undefined,
  known: boolean | undefined,
): Judgement {
  if (found === undefined && known === false) {
    return {
      verdict: 'unknown',
      reason: { kind: 'no-such-option' },
      message: 'this tree has no such option',
    };
  }
  if (found !== undefined && typeOf(found) !== typeOf(requested)) return wrongType(requested, typeOf(found));
  if (isSame(requested, found ?? 'n')) {
    return { verdict: 'kept', reason: { kind: 'as-asked' }, message: 'the configuration has it as asked' };
  }
  if (found !== undefined) return explainOther(requested, found);
  return {
    verdict: 'dropped',
    reason: { kind: 'not-offered' },
    message: `the configuration does not have it: something it depends on is off, or it cannot be set by hand${known ? '' : ', or the tree has no such option'}`,
  };
}
