/**
 * What became of each request, and why: decided by the value that came out, first match, as `unknown`, `invalid`, `kept`,
 * `raised`, `lowered` or `dropped`; the reason tells the cause.
 */
import {
  defaultFact,
  probesOf,
  selectorFact,
  selectorsAbove,
  termsOfDefaults,
  termsToBuildAsModule,
  termsToDepend,
  termsToShow,
} from './causes.ts';
import { circumstancesOf, type Circumstances, type ExplainInput } from './circumstances.ts';
import { fitsType, isSameValue, numberOf, rightSpelling, type ValuedType } from './fit-value.ts';
import { showBytes } from './latin1.ts';
import type { Choice, ConfigSymbol, Selection, Tristate } from './model.ts';
import { leadingNumber } from './numbers.ts';
import { quoteString } from './quote.ts';
import type { InvalidReason, MemberFact, ProbeFact, Reason, SelectorFact, VariableFact } from './reason.ts';
import { lastRequests, requestsByOption, type Origin, type Request } from './requests.ts';
import { explainUnknown } from './unknown-option.ts';
import { choiceFact, chosenMember, valueSource } from './value-source.ts';
import { verdictMessage } from './verdict-message.ts';

export type VerdictKind = 'unknown' | 'invalid' | 'kept' | 'raised' | 'lowered' | 'dropped';

/** A request that a later one for the same option takes the place of. */
export interface Overridden {
  readonly requested: string;
  readonly origin: Origin;
}

export interface Verdict {
  readonly option: string;
  /** As it stands in a `.config`, decoded as UTF-8 where it is that. */
  readonly requested: string;
  /** What the configuration has; of an option that does not appear `n` when it is a bool or tristate, else `null`. */
  readonly value: string | null;
  readonly verdict: VerdictKind;
  readonly reason: Reason;
  /** What, why and what to do, in sentences. */
  readonly message: string;
  /** Of the request that counts. */
  readonly origin: Origin;
  /** Earlier requests for the option, in their order; absent when there are none. */
  readonly overridden?: readonly Overridden[];
}

/** How many selects and defaults are told of an option that has many. */
const mostListed = 5;

/**
 * The verdicts on all requests, one for each option, in the order of the requests that count.
 *
 * @param input the configuration that was made from the requests, and what is known of it besides
 */
export function judgeRequests(input: ExplainInput): readonly Verdict[] {
  const circumstances = circumstancesOf(input);
  const all = requestsByOption(input.requests);
  return lastRequests(input.requests).map((request) =>
    judgeRequest(circumstances, request, overriddenBy(all.get(request.option) ?? [])),
  );
}

/** All but the last of the requests for one option. */
export function overriddenBy(same: readonly Request[]): readonly Overridden[] {
  return same.slice(0, -1).map(({ value, origin }) => ({ requested: showBytes(value), origin }));
}

/** The verdict on one request of a configuration. */
export function judgeRequest(
  circumstances: Circumstances,
  request: Request,
  overridden: readonly Overridden[] = [],
): Verdict {
  const { option, value: requested, origin } = request;
  const { verdict, reason, value } = decide(circumstances, option, requested);
  const shown = {
    option,
    requested: showBytes(requested),
    value: value === null ? null : showBytes(value),
    verdict,
    reason,
    origin,
    ...(overridden.length > 0 && { overridden }),
  };
  return { ...shown, message: verdictMessage(shown) };
}

interface Decision {
  readonly verdict: VerdictKind;
  readonly reason: Reason;
  /** In latin1, as it stands in a `.config`. */
  readonly value: string | null;
}

function decide(circumstances: Circumstances, option: string, requested: string): Decision {
  const { model, evaluation } = circumstances;
  const symbol = model.byName.get(option);
  const type = symbol?.type;
  if (!symbol || type === undefined || type === 'unknown') {
    const value = /^[ymn]$/.test(requested) ? 'n' : null;
    return { verdict: 'unknown', reason: explainUnknown(model, option, circumstances.elsewhere), value };
  }
  const isState = type === 'bool' || type === 'tristate';
  const written = evaluation.isWritten(symbol);
  const text = evaluation.valueOf(symbol);
  const value = !written ? (isState ? 'n' : null) : type === 'string' ? quoteString(text) : text;
  // "is not set" of an option that has no line is as asked, whatever its type.
  if (value === null ? requested === 'n' : isSameValue(type, requested, isState ? value : text)) {
    return { verdict: 'kept', reason: { kind: 'as-asked' }, value };
  }
  const invalid = explainInvalid(circumstances, symbol, type, requested);
  if (invalid) return { verdict: 'invalid', reason: invalid, value };
  return {
    verdict: compare(type, requested, value),
    reason: explainDifference(circumstances, symbol, requested),
    value,
  };
}

const states = ['n', 'm', 'y'];

function compare(type: ValuedType, requested: string, value: string | null): VerdictKind {
  if (type === 'bool' || type === 'tristate') {
    if (states.indexOf(value ?? 'n') > states.indexOf(requested)) return 'raised';
    return requested === 'y' && value === 'm' ? 'lowered' : 'dropped';
  }
  const got = value === null ? undefined : numberOf(type, value);
  const asked = numberOf(type, requested);
  return got !== undefined && asked !== undefined && got > asked ? 'raised' : 'dropped';
}

function explainInvalid(
  circumstances: Circumstances,
  symbol: ConfigSymbol,
  type: ValuedType,
  requested: string,
): InvalidReason | undefined {
  if (!fitsType(type, requested)) {
    const instead = rightSpelling(type, requested);
    return { kind: 'wrong-type', type, ...(instead !== undefined && { instead: showBytes(instead) }) };
  }
  const { evaluation } = circumstances;
  const range = type === 'int' || type === 'hex' ? evaluation.activeRange(symbol) : undefined;
  if (!range) return undefined;
  const base = type === 'hex' ? 16 : 10;
  const [low, high] = [evaluation.valueOf(range.low), evaluation.valueOf(range.high)];
  const asked = leadingNumber(requested, base);
  if (asked >= boundOf(range.low, low, base) && asked <= boundOf(range.high, high, base)) return undefined;
  const { terms } = termsToShow(circumstances, symbol, 1);
  return {
    kind: 'out-of-range',
    low,
    high,
    ...(!range.low.constant && range.low.nodes.length > 0 && { lowOption: range.low.name }),
    ...(!range.high.constant && range.high.nodes.length > 0 && { highOption: range.high.name }),
    ...(terms.length > 0 && { terms }),
    file: range.file,
    line: range.line,
  };
}

function boundOf({ type }: ConfigSymbol, text: string, base: 10 | 16): bigint {
  return leadingNumber(text, type === 'int' ? 10 : type === 'hex' ? 16 : base);
}

/**
 * Why an option is not what it was, or would be, asked to be.
 *
 * @param requested a value that fits its type, and is not the one that it has
 */
export function explainDifference(
  circumstances: Circumstances,
  symbol: ConfigSymbol,
  requested: string,
): Reason {
  const { evaluation, model } = circumstances;
  if (symbol.transitional) return { kind: 'transitional', heirs: heirsOf(circumstances, symbol) };
  const asked = tristateOfText(requested);
  const got = evaluation.tristateOf(symbol);
  const isState = symbol.type === 'bool' || symbol.type === 'tristate';
  const raised = isState && got > asked;
  if (raised && asked === 1 && evaluation.visibilityOf(symbol) !== 0 && isOff(circumstances, model.modules)) {
    return modulesOff(circumstances);
  }
  if (raised && evaluation.selectedTo(symbol) > asked) {
    return { kind: 'selected', by: selectorsAbove(circumstances, symbol, asked) };
  }
  if (symbol.prompts.length === 0) return noPrompt(circumstances, symbol, isState && got < asked);
  const { terms, contradictory } =
    asked === 1 && symbol.type === 'tristate'
      ? termsToBuildAsModule(circumstances, symbol)
      : termsToShow(circumstances, symbol, raised || !isState ? 1 : asked);
  if (terms.length > 0 || contradictory) {
    const probes = contradictory ? [] : probesOf(terms);
    if (probes.length > 0) return { kind: 'probe', terms, probes };
    const source = valueSource(circumstances, symbol);
    return { kind: 'dependency', terms, ...(contradictory && { contradictory }), source };
  }
  if (symbol.choice) return explainChoice(circumstances, symbol, symbol.choice, raised);
  return { kind: 'not-taken' };
}

function tristateOfText(requested: string): Tristate {
  return requested === 'y' ? 2 : requested === 'm' ? 1 : 0;
}

function isOff({ evaluation }: Circumstances, symbol: ConfigSymbol | undefined): boolean {
  return symbol === undefined || evaluation.tristateOf(symbol) === 0;
}

function modulesOff({ model, request }: Circumstances): Reason {
  const { modules } = model;
  if (!modules) return { kind: 'modules-off', option: null };
  const [node] = modules.nodes;
  const origin = request(modules.name)?.origin;
  return {
    kind: 'modules-off',
    option: modules.name,
    ...(origin && { origin }),
    ...(node && { file: node.file, line: node.line }),
  };
}

/** Options that take over the value of a transitional one. */
function heirsOf({ model }: Circumstances, symbol: ConfigSymbol): readonly string[] {
  return model.symbols
    .filter(({ defaults }) =>
      defaults.some(({ value }) => value.kind === 'symbol' && value.symbol === symbol),
    )
    .map(({ name }) => name);
}

function noPrompt(circumstances: Circumstances, symbol: ConfigSymbol, wanting: boolean): Reason {
  const { evaluation, trace } = circumstances;
  const active = evaluation.activeDefault(symbol);
  const strength = (one: Selection): number =>
    Math.min(evaluation.tristateOf(one.selector), evaluation.conditionOf(one));
  const selectors = [...symbol.selectedBy]
    .sort((one, other) => strength(other) - strength(one))
    .slice(0, mostListed)
    .map((one): SelectorFact => {
      const fact = selectorFact(circumstances, one);
      if (!wanting || evaluation.tristateOf(one.selector) !== 0) return fact;
      const { terms } = termsToShow(circumstances, one.selector, 1);
      return terms.length > 0 ? { ...fact, terms } : fact;
    });
  const own = wanting ? termsToDepend(circumstances, symbol).terms : [];
  const terms = wanting && own.length === 0 ? termsOfDefaults(circumstances, symbol).terms : own;
  const asked = wanting ? symbol.defaults.flatMap((one) => said(trace.at(one, symbol.name))) : [];
  const probes = new Map<string, ProbeFact | VariableFact>();
  for (const probe of [
    ...asked,
    ...probesOf(terms),
    ...selectors.flatMap((one) => probesOf(one.terms ?? [])),
  ]) {
    probes.set('command' in probe ? probe.command : probe.name, probe);
  }
  return {
    kind: 'no-prompt',
    selectors,
    // The one that holds comes first: it is told of.
    defaults: [...new Set([...(active ? [active] : []), ...symbol.defaults])]
      .slice(0, mostListed)
      .map(defaultFact),
    terms,
    probes: [...probes.values()],
  };
}

/** What a line was answered that keeps a value down. */
function said({
  probes,
  variables,
}: ReturnType<Circumstances['trace']['at']>): readonly (ProbeFact | VariableFact)[] {
  return [...probes.filter(({ answer }) => answer === 'n' || answer === ''), ...variables];
}

function explainChoice(
  circumstances: Circumstances,
  symbol: ConfigSymbol,
  choice: Choice,
  raised: boolean,
): Reason {
  const { request } = circumstances;
  const fact = choiceFact(choice);
  if (!raised) {
    const { chosen, origin } = chosenMember(circumstances, choice);
    return { kind: 'choice-lost', choice: fact, winner: chosen, ...(origin && { origin }) };
  }
  const others = choice.members
    .filter((member) => member !== symbol)
    .map((member): MemberFact => {
      const asked = request(member.name);
      const { terms } = termsToShow(circumstances, member, 1);
      return { option: member.name, ...(asked?.value === 'n' && { origin: asked.origin }), terms };
    });
  return { kind: 'choice-must-win', choice: fact, others };
}
