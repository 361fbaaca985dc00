import { printable, quoted } from '../diagnostics/printable.ts';
import type { ConditionFact, Explanation } from './explain-option.ts';
import type { Place } from './model.ts';
import type { Cause, Reason, SelectorFact, Term } from './reason.ts';
import { placeText } from './requests.ts';
import { termText } from './verdict-message.ts';

/** Selects that are listed of the several hundred that a few options have. */
const mostListed = 12;

interface Line {
  readonly text: string;
  readonly below?: readonly Line[];
}

/** An explanation as an indented tree, the verdict or the value first. Ends with a line feed. */
export function explanationText(explanation: Explanation): string {
  const { option, value, verdict } = explanation;
  const head = verdict
    ? `${verdict.verdict} ${option} ${verdict.requested} → ${verdict.value ?? 'nothing'}`
    : `${option} = ${value ?? 'nothing'}`;
  const below = explanation.type === 'unknown' ? absentLines(explanation) : optionLines(explanation);
  return print([{ text: head, below }], '');
}

function print(lines: readonly Line[], indent: string): string {
  return lines
    .map(({ text, below = [] }) => `${indent}${printable(text)}\n${print(below, `${indent}  `)}`)
    .join('');
}

function absentLines({ changes }: Explanation): readonly Line[] {
  return changes.map(({ message }) => ({ text: message }));
}

function optionLines(explanation: Explanation): readonly Line[] {
  const {
    verdict,
    type,
    definitions,
    prompts,
    dependencies,
    choice,
    selectedBy,
    impliedBy,
    defaults,
    range,
    changes,
  } = explanation;
  return [
    ...(verdict ? [{ text: verdict.message, below: reasonLines(verdict.reason) }] : []),
    { text: `type: ${type} (${definitions.map(placeText).join(', ')})` },
    ...prompts.map(({ text, menu, shown, conditions, file, line }) => ({
      text: `prompt: ${quoted(text, 100)} ${at({ file, line })}, ${shownText(shown)}`,
      below: [
        { text: `menu: ${menu.length === 0 ? 'the top' : menu.join(' > ')}` },
        ...conditions.map(conditionLine),
      ],
    })),
    ...(prompts.length === 0 ? [{ text: 'prompt: none, so that nobody can set it by hand' }] : []),
    { text: `value: ${sourceText(explanation)}` },
    ...(choice
      ? [
          {
            text: `choice: ${quoted(choice.prompt)} ${at(choice)}, where ${choice.chosen ?? 'none'} is on, of ${choice.members.join(', ')}`,
          },
        ]
      : []),
    ...(range ? [{ text: `range: ${range.low} to ${range.high} ${at(range)}` }] : []),
    ...list(
      'depends on',
      dependencies.map((one) => ({ ...conditionLine(one), text: `${conditionLine(one).text} ${at(one)}` })),
    ),
    ...list('selected by', selectorLines(selectedBy)),
    ...list('implied by', selectorLines(impliedBy)),
    ...list(
      'default',
      defaults.map((one) => ({
        text: `${one.value}${one.condition === undefined ? '' : ` if ${one.condition}`} ${at(one)}${one.holds ? '' : ', which does not hold'}`,
      })),
    ),
    ...list(
      'what would have to change',
      // What a request was told stands above already.
      changes
        .filter(({ value }) => verdict === undefined || value !== verdict.requested)
        .map(({ value, message, reason }) => ({
          text: `for ${value}: ${message}`,
          below: reasonLines(reason),
        })),
    ),
  ];
}

/** The chain behind a reason: each term that is lacking, and below it what that lacks. */
function reasonLines(reason: Reason | undefined): readonly Line[] {
  return reason && 'terms' in reason ? termLines(reason.terms ?? []) : [];
}

function termLines(terms: readonly Term[]): readonly Line[] {
  return terms.map((term) => ({ text: `needs ${termText(term)}`, below: causeLines(term.cause) }));
}

function causeLines(cause: Cause | undefined): readonly Line[] {
  switch (cause?.kind) {
    case 'open':
      return [{ text: 'can be set' }];
    case 'asked':
      return [{ text: `asked for as ${quoted(cause.requested)} in ${placeText(cause.origin)}` }];
    case 'dependency':
      return termLines(cause.terms);
    case 'selected':
      return cause.by.map((one) => ({
        text: `selected by ${one.option}=${one.value} ${at(one)}`,
        below: termLines(one.terms ?? []),
      }));
    case 'automatic':
      return [
        { text: 'has no prompt' },
        ...cause.selectors.map((one) => ({ text: `${one.value}  ${one.option} selects it ${at(one)}` })),
        ...termLines(cause.terms),
      ];
    case 'probe':
      return cause.probes.map((one) => ({
        text: `the environment answers ${quoted(one.answer)} to ${quoted(one.written, 100)}`,
      }));
    case 'variable':
      return cause.variables.map((one) => ({
        text: `the environment gives ${one.name} as ${quoted(one.value)}`,
      }));
    case 'choice':
      return [{ text: `of its choice ${cause.chosen ?? 'none'} is on, of ${cause.members.join(', ')}` }];
    case 'undefined':
      return [{ text: 'this architecture does not have it' }];
    case 'constant':
    case undefined:
      return [];
  }
}

function list(title: string, below: readonly Line[]): readonly Line[] {
  return below.length === 0 ? [] : [{ text: `${title}:`, below }];
}

function at(place: Place): string {
  return `(${placeText({ file: place.file, line: place.line })})`;
}

function shownText(shown: string): string {
  if (shown === 'n') return 'not shown';
  return shown === 'm' ? 'shown, for a module at most' : 'shown';
}

function conditionLine({ text, value, parts }: ConditionFact): Line {
  return { text: `${value}  ${text}`, below: parts.map(conditionLine) };
}

function selectorLines(selectors: readonly SelectorFact[]): readonly Line[] {
  const shown = selectors.slice(0, mostListed).map((one): Line => ({
    text: `${one.value}  ${one.option} ${at(one)}${one.value !== 'n' && one.holds !== true ? ', whose condition does not hold' : ''}${one.origin ? `, asked for in ${placeText(one.origin)}` : ''}`,
  }));
  const more = selectors.length - shown.length;
  return more > 0 ? [...shown, { text: `and ${more} more` }] : shown;
}

/** Where the value comes from. */
function sourceText({ value, source }: Explanation): string {
  const shown = value ?? 'none';
  switch (source.kind) {
    case 'asked':
      return `${shown}, asked for as ${quoted(source.requested)} in ${placeText(source.origin)}`;
    case 'base':
      return `${shown}, from the base${source.origin ? ` (${placeText(source.origin)})` : ''}`;
    case 'default': {
      const { value: given, condition, file, line } = source.default;
      return `${shown}, by default: ${given}${condition === undefined ? '' : ` if ${condition}`} ${at({ file, line })}`;
    }
    case 'selected':
    case 'implied':
      return `${shown}, ${source.kind} by ${source.by.map((one) => `${one.option}=${one.value} ${at(one)}`).join(', ')}`;
    case 'choice':
      return `${shown}, since of its choice ${source.chosen ?? 'none'} is on${source.origin ? `, asked for in ${placeText(source.origin)}` : ''}`;
    case 'nothing':
      return `${shown}, since nothing gives it another`;
  }
}
