/**
 * Why a term does not hold, and why the options in it are not otherwise: down to what a person can ask for, or to what
 * nobody can.
 */
import type { Circumstances } from './circumstances.ts';
import { defaultConditions, nodeConditions, promptConditions, type Condition } from './conditions.ts';
import { expressionText, symbolText } from './expression-text.ts';
import { showBytes } from './latin1.ts';
import type { ConfigSymbol, Default, Expr, Place, Selection, Tristate } from './model.ts';
import { isPossible, needsOf, plainest, type Need, type Needs, type Values } from './needs.ts';
import type { Cause, DefaultFact, ProbeFact, SelectorFact, Term, VariableFact } from './reason.ts';

/** How deep reasons of reasons go; real chains end before. */
const deepest = 8;
/** Selects and defaults that are listed: a few hundred options select the commonest ones. */
const mostListed = 5;

export interface FailingTerms {
  readonly terms: readonly Term[];
  readonly contradictory: boolean;
}

/** Terms that have to become true before a person can set `symbol` to `level`. Empty when that is so already. */
export function termsToShow(
  circumstances: Circumstances,
  symbol: ConfigSymbol,
  level: Tristate,
): FailingTerms {
  return new Causes(circumstances).toShow(symbol, level);
}

/** The same for a module: there must be modules, too. */
export function termsToBuildAsModule(circumstances: Circumstances, symbol: ConfigSymbol): FailingTerms {
  return new Causes(circumstances).toShow(symbol, 1, modulesCondition(circumstances));
}

function modulesCondition({ model: { modules } }: Circumstances): readonly Condition[] {
  const [node] = modules?.nodes ?? [];
  return node ? [{ expr: { kind: 'modular' }, file: node.file, line: node.line }] : [];
}

/** Terms that its own dependencies lack, of an option that nobody sets by hand. */
export function termsToDepend(circumstances: Circumstances, symbol: ConfigSymbol): FailingTerms {
  return new Causes(circumstances).toDepend(symbol);
}

/** Terms that have to become true before a default makes an option more than n; that default which lacks least. */
export function termsOfDefaults(circumstances: Circumstances, symbol: ConfigSymbol): FailingTerms {
  return new Causes(circumstances).ofDefaults(symbol);
}

/** Selects (or implies) that hold their target at `level` or higher now. */
export function activeSelectors(
  circumstances: Circumstances,
  list: readonly Selection[],
  level: Tristate,
): readonly SelectorFact[] {
  return activeOf(circumstances, list, level).map((one) => selectorFact(circumstances, one));
}

/** Selects that hold `symbol` above `level` now, with what it takes that they no longer do. */
export function selectorsAbove(
  circumstances: Circumstances,
  symbol: ConfigSymbol,
  level: Tristate,
): readonly SelectorFact[] {
  return new Causes(circumstances).selectorsAbove(symbol, level);
}

function activeOf(
  { evaluation }: Circumstances,
  list: readonly Selection[],
  level: Tristate,
): readonly Selection[] {
  return list.filter(
    (one) => Math.min(evaluation.tristateOf(one.selector), evaluation.conditionOf(one)) >= level,
  );
}

export function selectorFact(
  circumstances: Circumstances,
  { selector, file, line }: Selection,
): SelectorFact {
  const origin = circumstances.request(selector.name)?.origin;
  return {
    option: selector.name,
    value: circumstances.evaluation.valueOf(selector),
    file,
    line,
    ...(origin && { origin }),
  };
}

export function defaultFact({ value, condition, file, line }: Default): DefaultFact {
  return {
    value: showBytes(expressionText(value)),
    ...(condition && { condition: showBytes(expressionText(condition)) }),
    file,
    line,
  };
}

/** The values of a set, for people. */
export function valuesText(allowed: Values): string {
  return ['n', 'm', 'y']
    .filter((_, bit) => ((allowed >> bit) & 1) === 1)
    .reverse()
    .join(' or ');
}

/** Probes and variables that terms come down to in the end. */
export function probesOf(terms: readonly Term[]): readonly (ProbeFact | VariableFact)[] {
  const found = new Map<string, ProbeFact | VariableFact>();
  const visit = (list: readonly Term[]): void => {
    for (const { cause } of list) {
      if (cause?.kind === 'probe') for (const one of cause.probes) found.set(one.command, one);
      else if (cause?.kind === 'variable') for (const one of cause.variables) found.set(one.name, one);
      else if (cause?.kind === 'dependency' || cause?.kind === 'automatic') visit(cause.terms);
    }
  };
  visit(terms);
  return [...found.values()];
}

/** Those of the probes whose answer is no; all when none is. */
function denied(probes: readonly ProbeFact[]): readonly ProbeFact[] {
  const no = probes.filter(({ answer }) => answer === 'n' || answer === '');
  return no.length > 0 ? no : probes;
}

class Causes {
  private readonly about: Circumstances;
  /** Options whose reasons have been told, or are being looked for: once is enough, also where they go round. */
  private readonly told = new Set<ConfigSymbol>();
  private depth = 0;

  constructor(about: Circumstances) {
    this.about = about;
  }

  /** @param further what has to hold besides */
  toShow(symbol: ConfigSymbol, level: Tristate, further: readonly Condition[] = []): FailingTerms {
    const { model, evaluation } = this.about;
    if (evaluation.visibilityOf(symbol) >= level) return { terms: [], contradictory: false };
    const reach = symbol.type === 'tristate' ? level : 1;
    return this.cheapest(
      symbol,
      symbol.prompts.map((prompt) => this.needs([...promptConditions(model, prompt), ...further], reach)),
    );
  }

  toDepend(symbol: ConfigSymbol): FailingTerms {
    const { model, evaluation } = this.about;
    if (evaluation.dependenciesOf(symbol) !== 0 || symbol.choice) return { terms: [], contradictory: false };
    const dependent = symbol.nodes
      .map((node) => nodeConditions(model, node))
      .filter(({ length }) => length > 0);
    return this.cheapest(
      symbol,
      dependent.map((conditions) => this.needs(conditions, 1)),
    );
  }

  ofDefaults(symbol: ConfigSymbol): FailingTerms {
    const { model } = this.about;
    if (symbol.type !== 'bool' && symbol.type !== 'tristate') return { terms: [], contradictory: false };
    const ways = symbol.defaults
      .filter(({ value }) => value.kind !== 'symbol' || value.symbol.id !== 0)
      .map((one) => this.needs(defaultConditions(model, one), 1));
    return this.cheapest(symbol, ways);
  }

  selectorsAbove(symbol: ConfigSymbol, level: Tristate): readonly SelectorFact[] {
    this.told.add(symbol);
    const above = level === 0 ? 1 : 2;
    return activeOf(this.about, symbol.selectedBy, above).map((one): SelectorFact => {
      const fact = selectorFact(this.about, one);
      if (!this.mayTell(one.selector)) return fact;
      const terms = this.toRelease(one, level);
      const [first] = terms;
      const byHand = first?.cause?.kind === 'open' || first?.cause?.kind === 'asked';
      return terms.length === 1 && first?.option === fact.option && byHand ? fact : { ...fact, terms };
    });
  }

  /** What it takes that a select holds its target no higher than `level`. */
  private toRelease({ selector, condition, file, line }: Selection, level: Tristate): readonly Term[] {
    const selects: Expr = { kind: 'symbol', symbol: selector };
    const operand: Expr = condition ? { kind: 'and', operands: [selects, condition] } : selects;
    const needs = this.needs([{ expr: { kind: 'not', operand }, file, line }], level === 0 ? 2 : 1);
    return this.cheapest(selector, [needs]).terms;
  }

  private needs(conditions: readonly Condition[], level: Tristate): Needs {
    return needsOf(this.about.evaluation, conditions, level, this.about.bounds());
  }

  private cheapest(symbol: ConfigSymbol, ways: readonly Needs[]): FailingTerms {
    const [best] = [...ways].sort(
      (one, other) =>
        Number(one.contradictory) - Number(other.contradictory) || one.needs.length - other.needs.length,
    );
    if (!best) return { terms: [], contradictory: false };
    this.told.add(symbol);
    this.depth += 1;
    const terms = best.needs.map((need) => this.termOf(need));
    this.depth -= 1;
    return { terms, contradictory: best.contradictory };
  }

  private termOf(need: Need): Term {
    const { file, line } = need;
    const base = { term: showBytes(need.text), file, line };
    const never = isPossible(this.about.bounds(), need) ? {} : { never: true as const };
    switch (need.kind) {
      case 'choice':
        return {
          ...base,
          value: 'nmy'.charAt(this.about.evaluation.modeOf(need.choice)),
          needs: 'y',
          cause: { kind: 'choice', chosen: null, members: need.choice.members.map(({ name }) => name) },
        };
      case 'symbol': {
        const { symbol, allowed } = need;
        const cause = this.causeOf(symbol, allowed, need);
        const value =
          symbol.type === 'unknown' && !symbol.constant
            ? null
            : showBytes(this.about.evaluation.valueOf(symbol));
        return {
          ...base,
          ...(!symbol.constant && { option: symbol.name }),
          value,
          needs: valuesText(allowed),
          ...(cause && { cause }),
          ...never,
        };
      }
      case 'compare': {
        const { left, right, operator } = need.expr;
        const swap = left.nodes.length === 0 && right.nodes.length > 0;
        const [symbol, other] = swap ? [right, left] : [left, right];
        const cause = symbol.constant ? this.probed(need, undefined) : this.causeOfCompared(symbol);
        const turned = swap ? mirrored[operator] : operator;
        const bound =
          other.nodes.length === 0
            ? symbolText(other)
            : `${other.name} (${this.about.evaluation.valueOf(other)})`;
        return {
          ...base,
          ...(!symbol.constant && { option: symbol.name }),
          value:
            symbol.type === 'unknown' && !symbol.constant
              ? null
              : showBytes(this.about.evaluation.valueOf(symbol)),
          needs: showBytes(`${need.holds ? turned : inverted[turned]} ${bound}`),
          ...(cause && { cause }),
          ...never,
        };
      }
    }
  }

  /** What the line asks of the environment, when it does. */
  private probed(place: Place, option: string | undefined): Cause | undefined {
    const { probes, variables } = this.about.trace.at(place, option);
    if (probes.length > 0) return { kind: 'probe', probes: denied(probes) };
    return variables.length > 0 ? { kind: 'variable', variables } : undefined;
  }

  private causeOf(symbol: ConfigSymbol, allowed: Values, place: Place): Cause | undefined {
    const { evaluation } = this.about;
    if (symbol.constant) return this.probed(place, undefined) ?? { kind: 'constant' };
    if (symbol.type === 'unknown') {
      return {
        kind: 'undefined',
        architectures: this.about.elsewhere?.find(symbol.name)?.architectures ?? [],
      };
    }
    const wanted = plainest(allowed);
    const now = evaluation.tristateOf(symbol);
    const selected = evaluation.selectedTo(symbol);
    if (wanted < selected) return { kind: 'selected', by: this.selectorsAbove(symbol, wanted) };
    if (symbol.prompts.length === 0) return this.automatic(symbol, wanted > now);
    if (symbol.choice && evaluation.visibilityOf(symbol) !== 0) {
      const members = symbol.choice.members
        .filter((one) => evaluation.visibilityOf(one) !== 0)
        .map(({ name }) => name);
      return { kind: 'choice', chosen: evaluation.chosenOf(symbol.choice)?.name ?? null, members };
    }
    return this.settable(symbol, wanted > now ? wanted : 1);
  }

  private causeOfCompared(symbol: ConfigSymbol): Cause | undefined {
    if (symbol.type === 'unknown') return this.causeOf(symbol, 0b100, { file: '', line: 0 });
    return symbol.prompts.length === 0 ? this.automatic(symbol, true) : this.settable(symbol, 1);
  }

  private settable(symbol: ConfigSymbol, level: Tristate): Cause | undefined {
    const { evaluation } = this.about;
    const reach = symbol.type === 'tristate' ? level : 1;
    if (evaluation.visibilityOf(symbol) >= reach) {
      const request = this.about.request(symbol.name);
      return request
        ? { kind: 'asked', requested: showBytes(request.value), origin: request.origin }
        : { kind: 'open' };
    }
    if (!this.mayTell(symbol)) return undefined;
    const { terms, contradictory } = this.toShow(symbol, reach);
    return { kind: 'dependency', terms, ...(contradictory && { contradictory }) };
  }

  private mayTell(symbol: ConfigSymbol): boolean {
    return this.depth < deepest && !this.told.has(symbol);
  }

  /** An option without prompt: whatever a default or a select makes of it. */
  private automatic(symbol: ConfigSymbol, raise: boolean): Cause | undefined {
    const { evaluation } = this.about;
    const active = evaluation.activeDefault(symbol);
    const bound = active ?? symbol.defaults[0];
    const probed = bound && this.probed(bound, symbol.name);
    if (probed) return probed;
    const selectors = raise
      ? symbol.selectedBy
      : symbol.selectedBy.filter(({ selector }) => evaluation.tristateOf(selector) !== 0);
    const listed = selectors.slice(0, mostListed).map((one) => selectorFact(this.about, one));
    const defaults = (raise ? symbol.defaults : active ? [active] : []).slice(0, mostListed).map(defaultFact);
    const further = raise && this.mayTell(symbol);
    const { terms } = further ? this.ofDefaults(symbol) : { terms: [] };
    return { kind: 'automatic', selectors: listed, defaults, terms };
  }
}

const inverted = { '=': '!=', '!=': '=', '<': '>=', '<=': '>', '>': '<=', '>=': '<' } as const;
const mirrored = { '=': '=', '!=': '!=', '<': '>', '<=': '>=', '>': '<', '>=': '<=' } as const;
