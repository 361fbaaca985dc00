/**
 * Why an option has the value that it has, as data. `verdict-message.ts` says it in words, `explain-option.ts` hangs it
 * into a tree. Texts are as they are shown: decoded and printable.
 */
import type { Place } from './model.ts';
import type { SymbolType } from './rules.ts';
import type { Origin } from './requests.ts';

/** A tool or package whose presence or version would change what a probe answers, as far as that is known. */
export interface Remedy {
  /** Ends the sentence "… : ": what to do, without a full stop. */
  readonly advice: string;
  /** Names of Debian packages. */
  readonly packages: readonly string[];
  /** Another compiler is needed, and no package beside the present one helps. */
  readonly toolchain?: 'gcc' | 'clang' | undefined;
}

/** One question to the environment, with where it is asked. */
export interface ProbeFact extends Place {
  /** As the file has it: `$(cc-option,-fsanitize=kcfi)`. */
  readonly written: string;
  readonly command: string;
  readonly answer: string;
  readonly remedy?: Remedy | undefined;
}

/** A variable that the kernel's Makefile gives to Kconfig. */
export interface VariableFact extends Place {
  readonly name: string;
  readonly value: string;
  readonly remedy?: Remedy | undefined;
}

/** An option that selects or implies another one. */
export interface SelectorFact extends Place {
  readonly option: string;
  readonly value: string;
  /** Where that one was asked for, when it was. */
  readonly origin?: Origin | undefined;
  /** It counts now. */
  readonly holds?: boolean;
  /**
   * Of one that could select and does not: what keeps it from being switched on. Of one that selects and that nobody
   * switches off by hand: what has to be otherwise before it no longer does.
   */
  readonly terms?: readonly Term[] | undefined;
}

/** A `default` line. */
export interface DefaultFact extends Place {
  readonly value: string;
  /** What stands behind `if`. */
  readonly condition?: string | undefined;
}

/** One term of a condition that does not hold, and what it takes. */
export interface Term extends Place {
  /** As it is written: `USB`, `!PREEMPT_RT`, `PAHOLE_VERSION >= 116`. */
  readonly term: string;
  /** The option that it speaks of; absent where it is a constant. */
  readonly option?: string | undefined;
  /** What the option is now; `null` when nothing defines it here. */
  readonly value: string | null;
  /** The values with which the term holds: `y`, `m or y`, `n`, or the comparison. */
  readonly needs: string;
  /** Why it is not so already. */
  readonly cause?: Cause | undefined;
  /** No configuration of this tree in this environment has it so. */
  readonly never?: true;
}

export type Cause =
  /** A person can set it; nobody has, or the base has it so. */
  | { readonly kind: 'open' }
  /** A request has it so. */
  | { readonly kind: 'asked'; readonly requested: string; readonly origin: Origin }
  /** It cannot be set before these hold. */
  | { readonly kind: 'dependency'; readonly terms: readonly Term[]; readonly contradictory?: boolean }
  | { readonly kind: 'selected'; readonly by: readonly SelectorFact[] }
  /** Nobody sets it by hand: these selects and defaults do, `terms` being what the nearest default lacks. */
  | {
      readonly kind: 'automatic';
      readonly selectors: readonly SelectorFact[];
      readonly defaults: readonly DefaultFact[];
      readonly terms: readonly Term[];
    }
  | { readonly kind: 'probe'; readonly probes: readonly ProbeFact[] }
  | { readonly kind: 'variable'; readonly variables: readonly VariableFact[] }
  | { readonly kind: 'choice'; readonly chosen: string | null; readonly members: readonly string[] }
  /** Nothing defines it for this architecture. */
  | { readonly kind: 'undefined'; readonly architectures: readonly string[] }
  | { readonly kind: 'constant' };

/** How a value came about. */
export type ValueSource =
  | { readonly kind: 'asked'; readonly requested: string; readonly origin: Origin }
  /** A line of the base; without a place where that is not known. */
  | { readonly kind: 'base'; readonly origin?: Origin | undefined }
  | { readonly kind: 'default'; readonly default: DefaultFact }
  | { readonly kind: 'selected'; readonly by: readonly SelectorFact[] }
  | { readonly kind: 'implied'; readonly by: readonly SelectorFact[] }
  /** Exactly one member of a choice is on: this one, or another. */
  | {
      readonly kind: 'choice';
      readonly choice: ChoiceFact;
      readonly chosen: string | null;
      readonly origin?: Origin | undefined;
    }
  /** Nobody gives it one. */
  | { readonly kind: 'nothing' };

export interface ChoiceFact extends Place {
  /** What the choice is called in the menu. */
  readonly prompt: string;
}

/** Another member of a choice, and why it is not the one. */
export interface MemberFact {
  readonly option: string;
  /** Where it was asked to be off. */
  readonly origin?: Origin | undefined;
  /** What it lacks to be chosen. */
  readonly terms: readonly Term[];
}

export interface Rename {
  readonly option: string;
  /** What shows it: the same prompt in both releases, or an entry that takes the old value over. */
  readonly evidence: 'same-prompt' | 'transitional';
}

export type UnknownReason =
  | { readonly kind: 'doubled-prefix'; readonly instead: string; readonly exists: boolean }
  | {
      readonly kind: 'other-architecture';
      readonly architectures: readonly string[];
      readonly places: readonly Place[];
    }
  /** `releases` are those that have it, of those that were looked at. */
  | {
      readonly kind: 'other-version';
      readonly releases: readonly string[];
      readonly lookedAt: readonly string[];
      readonly renamed?: Rename | undefined;
      readonly renamedHere: boolean;
    }
  | { readonly kind: 'misspelt'; readonly nearest: readonly string[] }
  | { readonly kind: 'no-such-option' };

export type InvalidReason =
  | {
      readonly kind: 'wrong-type';
      readonly type: Exclude<SymbolType, 'unknown'>;
      readonly instead?: string | undefined;
    }
  /** Bounds as they are worth now, with the options they come from where they are no plain numbers. */
  | ({
      readonly kind: 'out-of-range';
      readonly low: string;
      readonly high: string;
      readonly lowOption?: string | undefined;
      readonly highOption?: string | undefined;
      /** What has to hold before it can be set at all; another range may count then. */
      readonly terms?: readonly Term[] | undefined;
    } & Place);

export type Reason =
  | { readonly kind: 'as-asked' }
  | UnknownReason
  | InvalidReason
  /** A person cannot set it, or not so high, before these hold. */
  | {
      readonly kind: 'dependency';
      readonly terms: readonly Term[];
      /** No values of options make its conditions hold together. */
      readonly contradictory?: boolean;
      /** Where the value comes from that it has instead. */
      readonly source: ValueSource;
    }
  /** The same, and what fails in the end is what the environment answered. */
  | {
      readonly kind: 'probe';
      readonly terms: readonly Term[];
      readonly probes: readonly (ProbeFact | VariableFact)[];
    }
  | ({
      readonly kind: 'modules-off';
      readonly option: string | null;
      readonly origin?: Origin | undefined;
    } & Partial<Place>)
  | {
      readonly kind: 'no-prompt';
      readonly selectors: readonly SelectorFact[];
      readonly defaults: readonly DefaultFact[];
      /** Dependencies of its own that fail as well. */
      readonly terms: readonly Term[];
      readonly probes: readonly (ProbeFact | VariableFact)[];
    }
  | { readonly kind: 'selected'; readonly by: readonly SelectorFact[] }
  | {
      readonly kind: 'choice-lost';
      readonly choice: ChoiceFact;
      readonly winner: string | null;
      readonly origin?: Origin | undefined;
    }
  | { readonly kind: 'choice-must-win'; readonly choice: ChoiceFact; readonly others: readonly MemberFact[] }
  /** It is only there to hand an old value on. */
  | { readonly kind: 'transitional'; readonly heirs: readonly string[] }
  /** The configuration that was judged was not made from this request. */
  | { readonly kind: 'not-taken' };
