/** Everything that decides the value of one option, as data: what `quern why` shows. */
import { selectorFact } from './causes.ts';
import { circumstancesOf, type Circumstances, type ExplainInput } from './circumstances.ts';
import { compose } from './compose.ts';
import { configure } from './configure.ts';
import { expressionText } from './expression-text.ts';
import { finishedMenu } from './finished-menu.ts';
import { showBytes } from './latin1.ts';
import type { ConfigSymbol, Expr, MenuNode, Place, Prompt, Selection, Tristate } from './model.ts';
import type { SymbolType } from './rules.ts';
import { quoteString } from './quote.ts';
import type { ChoiceFact, DefaultFact, Reason, SelectorFact, ValueSource } from './reason.ts';
import { defaultFact } from './causes.ts';
import type { Origin } from './requests.ts';
import { choiceFact, valueSource } from './value-source.ts';
import { explainDifference, judgeRequest, overriddenBy, type Verdict } from './verdict.ts';
import { verdictMessage } from './verdict-message.ts';

/** A condition with what it comes to, and its parts where it has some. */
export interface ConditionFact {
  readonly text: string;
  readonly value: 'n' | 'm' | 'y';
  readonly parts: readonly ConditionFact[];
}

export interface DependencyFact extends ConditionFact, Place {
  /** What kind of entry it stands at: the option's own, or a block around it. */
  readonly of: MenuNode['kind'];
}

export interface PromptFact extends Place {
  readonly text: string;
  /** Titles of the menus and of the options that it is shown below, the outermost first. */
  readonly menu: readonly string[];
  /** How high a person may set the option here. */
  readonly shown: 'n' | 'm' | 'y';
  /** What stands behind `if` of the prompt and behind `visible if` around it. */
  readonly conditions: readonly ConditionFact[];
}

/** Another value that the option could have, and what stands in the way; `reason` is absent when nothing does. */
export interface Change {
  readonly value: string;
  readonly reason?: Reason | undefined;
  readonly message: string;
}

export interface Explanation {
  readonly option: string;
  readonly type: SymbolType;
  /** As in a `.config`; `n` or `null` when it does not appear there. */
  readonly value: string | null;
  readonly source: ValueSource;
  /** On the request for it that counts. */
  readonly verdict?: Verdict | undefined;
  readonly definitions: readonly Place[];
  readonly prompts: readonly PromptFact[];
  readonly dependencies: readonly DependencyFact[];
  readonly choice?:
    (ChoiceFact & { readonly members: readonly string[]; readonly chosen: string | null }) | undefined;
  readonly selectedBy: readonly SelectorFact[];
  readonly impliedBy: readonly SelectorFact[];
  readonly defaults: readonly (DefaultFact & { readonly holds: boolean })[];
  readonly range?: (Place & { readonly low: string; readonly high: string }) | undefined;
  readonly changes: readonly Change[];
}

const names = ['n', 'm', 'y'] as const;

/**
 * Explains the value that an option has.
 *
 * @returns for a name that the tree does not have an explanation of type `unknown`, whose one change says why
 */
export function explainOption(input: ExplainInput, option: string): Explanation {
  const circumstances = circumstancesOf(input);
  const request = circumstances.request(option);
  const all = input.requests.filter((one) => one.option === option);
  const verdict = request && judgeRequest(circumstances, request, overriddenBy(all));
  const symbol = circumstances.model.byName.get(option);
  if (!symbol || symbol.type === 'unknown') return explainAbsent(circumstances, option, verdict);
  const { evaluation } = circumstances;
  return {
    option,
    type: symbol.type,
    value: valueInConfig(circumstances, symbol),
    source: valueSource(circumstances, symbol),
    ...(verdict && { verdict }),
    definitions: symbol.nodes.map(({ file, line }) => ({ file, line })),
    prompts: promptFacts(circumstances, symbol),
    dependencies: symbol.nodes.flatMap((node) => dependencyFacts(circumstances, node)),
    ...(symbol.choice && {
      choice: {
        ...choiceFact(symbol.choice),
        members: symbol.choice.members.map(({ name }) => name),
        chosen: evaluation.chosenOf(symbol.choice)?.name ?? null,
      },
    }),
    selectedBy: selections(circumstances, symbol.selectedBy),
    impliedBy: selections(circumstances, symbol.impliedBy),
    defaults: symbol.defaults.map((one) => ({
      ...defaultFact(one),
      holds: evaluation.conditionOf(one) !== 0,
    })),
    ...rangeFact(circumstances, symbol),
    changes: changesOf(circumstances, symbol),
  };
}

/**
 * Explains what would become of one more request: the configuration is made again with it.
 *
 * @param base the configuration that the requests were laid over, in latin1, and its name
 * @param value as it stands in a `.config`, in latin1
 */
export function explainValue(
  input: ExplainInput,
  base: { readonly file: string; readonly text: string },
  option: string,
  value: string,
  origin: Origin,
): Explanation {
  const requests = [...input.requests, { option, value, origin }];
  const { text, originOf } = compose(base, requests);
  const { evaluation } = configure(input.evaluation.model, 'olddefconfig', text);
  return explainOption({ ...input, evaluation, requests, originOf }, option);
}

function explainAbsent(
  circumstances: Circumstances,
  option: string,
  asked: Verdict | undefined,
): Explanation {
  const verdict = asked ?? judgeRequest(circumstances, { option, value: 'y', origin: { file: '' } });
  return {
    option,
    type: 'unknown',
    value: null,
    source: { kind: 'nothing' },
    ...(asked && { verdict: asked }),
    definitions: [],
    prompts: [],
    dependencies: [],
    selectedBy: [],
    impliedBy: [],
    defaults: [],
    changes: [{ value: verdict.requested, reason: verdict.reason, message: verdict.message }],
  };
}

function valueInConfig({ evaluation }: Circumstances, symbol: ConfigSymbol): string | null {
  const { type } = symbol;
  if (!evaluation.isWritten(symbol)) return type === 'bool' || type === 'tristate' ? 'n' : null;
  const text = evaluation.valueOf(symbol);
  return showBytes(type === 'string' ? quoteString(text) : text);
}

function conditionFact(circumstances: Circumstances, expr: Expr): ConditionFact {
  const inner =
    expr.kind === 'not' ? [expr.operand] : expr.kind === 'and' || expr.kind === 'or' ? expr.operands : [];
  // A negated option needs no line of its own.
  const parts = expr.kind === 'not' && expr.operand.kind !== 'and' && expr.operand.kind !== 'or' ? [] : inner;
  return {
    text: showBytes(expressionText(expr)),
    value: names[circumstances.evaluation.calculate(expr)],
    parts: parts.map((one) => conditionFact(circumstances, one)),
  };
}

function dependencyFacts(circumstances: Circumstances, node: MenuNode): readonly DependencyFact[] {
  const facts: DependencyFact[] = [];
  for (let block: MenuNode | undefined = node; block; block = block.parent) {
    for (const { expr, conditional, file, line } of block.dependencies) {
      const fact = conditionFact(circumstances, expr);
      const text = conditional
        ? `${expressionText(conditional.needs)} if ${expressionText(conditional.when)}`
        : undefined;
      facts.push({
        ...fact,
        ...(text !== undefined && { text: showBytes(text) }),
        of: block.kind,
        file,
        line,
      });
    }
  }
  return facts;
}

function promptFacts(circumstances: Circumstances, { prompts, type }: ConfigSymbol): readonly PromptFact[] {
  const { nodes, dialect } = circumstances.model;
  const [root] = nodes;
  if (!root || prompts.length === 0) return [];
  const above = finishedMenu(root, dialect.choiceHasValue);
  return prompts.map((prompt) => promptFact(circumstances, prompt, type, above));
}

/** @param above where each entry hangs in the finished menu */
function promptFact(
  circumstances: Circumstances,
  prompt: Prompt,
  type: SymbolType,
  above: ReadonlyMap<MenuNode, MenuNode>,
): PromptFact {
  const menu: string[] = [];
  for (let block = above.get(prompt.node); block; block = above.get(block)) {
    if (block.prompt) menu.unshift(showBytes(block.prompt.text));
  }
  const conditions = prompt.condition ? [conditionFact(circumstances, prompt.condition)] : [];
  for (let block = prompt.node.parent; block; block = block.parent) {
    conditions.push(...block.visibleIf.map((expr) => conditionFact(circumstances, expr)));
  }
  const value = circumstances.evaluation.conditionOf(prompt);
  // What may be a module may be on, where there is nothing between.
  const shown = names[value === 1 && type !== 'tristate' ? 2 : value];
  return { text: showBytes(prompt.text), menu, shown, conditions, file: prompt.file, line: prompt.line };
}

/** Those that count now before the others. */
function selections(circumstances: Circumstances, list: readonly Selection[]): readonly SelectorFact[] {
  const { evaluation } = circumstances;
  const strength = (one: Selection): Tristate => {
    const selector = evaluation.tristateOf(one.selector);
    return selector === 0 ? 0 : evaluation.conditionOf(one);
  };
  return [...list]
    .sort((one, other) => strength(other) - strength(one))
    .map((one) => ({
      ...selectorFact(circumstances, one),
      ...(strength(one) > 0 && { holds: true }),
    }));
}

function rangeFact({ evaluation }: Circumstances, symbol: ConfigSymbol): Pick<Explanation, 'range'> {
  const range = evaluation.activeRange(symbol);
  if (!range) return {};
  const { low, high, file, line } = range;
  return { range: { low: evaluation.valueOf(low), high: evaluation.valueOf(high), file, line } };
}

/** The values that a bool or tristate does not have; of others whether a person can give it one. */
function changesOf(circumstances: Circumstances, symbol: ConfigSymbol): readonly Change[] {
  const { evaluation } = circumstances;
  const { name: option, type } = symbol;
  if (type !== 'bool' && type !== 'tristate') {
    const reason = explainDifference(circumstances, symbol, '');
    if (reason.kind === 'not-taken')
      return [{ value: 'another value', message: 'It can be given another value: ask for it.' }];
    return [{ value: 'another value', reason, message: messageOf(circumstances, symbol, '', reason) }];
  }
  const now = names[evaluation.tristateOf(symbol)];
  const others = names.filter((value) => value !== now && (value !== 'm' || type === 'tristate'));
  return others.reverse().map((value): Change => {
    const reason = explainDifference(circumstances, symbol, value);
    if (reason.kind === 'not-taken') return { value, message: `It can be so: ask for ${option}=${value}.` };
    if (reason.kind === 'choice-lost') {
      return {
        value,
        reason,
        message: `It takes the place of ${reason.winner ?? 'none'} in its choice: ask for ${option}=${value} last.`,
      };
    }
    return { value, reason, message: messageOf(circumstances, symbol, value, reason) };
  });
}

function messageOf(
  circumstances: Circumstances,
  symbol: ConfigSymbol,
  requested: string,
  reason: Reason,
): string {
  const value = valueInConfig(circumstances, symbol);
  return verdictMessage({ option: symbol.name, requested, value, reason, origin: { file: '' } });
}
