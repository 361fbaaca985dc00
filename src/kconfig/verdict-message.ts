/**
 * Reasons in words, for somebody who has never seen a Kconfig file: what became of a request, why, and what to do.
 */
import { printable, quoted } from '../diagnostics/printable.ts';
import type { ValuedType } from './fit-value.ts';
import type { Place } from './model.ts';
import type {
  MemberFact,
  ProbeFact,
  Reason,
  SelectorFact,
  Term,
  UnknownReason,
  ValueSource,
  VariableFact,
} from './reason.ts';
import { placeText, type Origin } from './requests.ts';

interface Told {
  readonly option: string;
  readonly requested: string;
  readonly value: string | null;
  readonly reason: Reason;
  readonly origin: Origin;
  readonly overridden?: readonly { readonly requested: string; readonly origin: Origin }[];
}

/** Sentences on terms that lie behind others; the data has all of them. */
const mostSentences = 6;

export function verdictMessage(told: Told): string {
  const sentences = [...reasonSentences(told), ...overriddenSentences(told)];
  return sentences.map(printable).join(' ');
}

/** A value in words. */
export function valueText(value: string | null): string {
  if (value === null) return 'not there';
  return value === 'y'
    ? 'on'
    : value === 'n'
      ? 'off'
      : value === 'm'
        ? 'a module'
        : value === ''
          ? 'empty'
          : quoted(value);
}

function overriddenSentences({ requested, origin, overridden = [] }: Told): readonly string[] {
  const other = overridden.filter((one) => one.requested !== requested);
  if (other.length === 0) return [];
  const list = other.map((one) => `${quoted(one.requested)} (${placeText(one.origin)})`);
  return [`It was asked for as ${join(list)} before; ${placeText(origin)} comes later and counts.`];
}

function reasonSentences(told: Told): readonly string[] {
  const { reason, requested, option, value } = told;
  switch (reason.kind) {
    case 'as-asked':
      return ['The configuration has it as asked.'];
    case 'doubled-prefix':
    case 'other-architecture':
    case 'other-version':
    case 'misspelt':
    case 'no-such-option':
      return unknownSentences(reason);
    case 'wrong-type': {
      const { instead, type } = reason;
      if (type === 'bool' && requested === 'm') return ['It is on or off and cannot be a module. Write `y`.'];
      if (requested === 'n' && type !== 'tristate')
        return [
          `It takes ${typeNames[type]} and cannot be switched off. ${instead === undefined ? 'Leave the request out.' : `Write ${quoted(instead)}, or leave the request out.`}`,
        ];
      return [
        `It takes ${typeNames[type]}, and ${quoted(requested)} is none.${instead === undefined ? '' : ` Write ${quoted(instead)}.`}`,
      ];
    }
    case 'out-of-range': {
      const bound = (text: string, name: string | undefined): string =>
        name === undefined ? text : `${text} (the value of ${name})`;
      const { terms = [] } = reason;
      return [
        `It must be from ${bound(reason.low, reason.lowOption)} to ${bound(reason.high, reason.highOption)} (${placeText(reason)}); ${value === null ? 'it has no value now' : `the kernel makes ${value} of it`}.`,
        ...(terms.length === 0
          ? ['Ask for a value in that range.']
          : ['It cannot be set as things are.', ...termSentences(option, terms), ...advice(option, terms)]),
      ];
    }
    case 'dependency':
      return dependencySentences(told, reason);
    case 'probe':
      return [
        ...termSentences(option, reason.terms),
        ...probeSentences(reason.probes),
        ...advice(option, reason.terms),
      ];
    case 'modules-off': {
      if (reason.option === null)
        return ['This tree has no modules, so that it is built in. Ask for `y` or `n`.'];
      const where = reason.origin ? `, as ${placeText(reason.origin)} asks` : '';
      return [
        `Modules are switched off (${reason.option}=n${where}), so that what is asked for as a module is built in. Ask for ${reason.option}=y, or for ${option}=y or n.`,
      ];
    }
    case 'no-prompt':
      return noPromptSentences(told, reason);
    case 'selected':
      return selectedSentences(told, reason.by);
    case 'choice-lost':
      return [
        `Of the choice ${quoted(reason.choice.prompt)} (${placeText(reason.choice)}) only one can be on, and that is ${reason.winner ?? 'none of them'}${reason.origin ? `, which ${placeText(reason.origin)} asks for later` : ''}.`,
        reason.winner === null
          ? 'Ask for one of them alone.'
          : `Leave one of the two requests out: ${option}=y or ${reason.winner}=y.`,
      ];
    case 'choice-must-win':
      return mustWinSentences(option, reason.choice, reason.others);
    case 'transitional':
      return [
        `This tree keeps the name only to read old configurations; it writes no line for it.${reason.heirs.length === 0 ? '' : ` Its value goes to ${join(reason.heirs)}: ask for that instead.`}`,
      ];
    case 'not-taken':
      return ['It can be set so, and the configuration was made without this request. Make it again.'];
  }
}

const typeNames: Readonly<Record<ValuedType, string>> = {
  bool: '`y` or `n`',
  tristate: '`y`, `m` or `n`',
  int: 'a whole number',
  hex: 'a hexadecimal number such as `0x10`',
  string: 'a string in double quotes',
};

function unknownSentences(reason: UnknownReason): readonly string[] {
  switch (reason.kind) {
    case 'doubled-prefix':
      return [
        'The prefix `CONFIG_` stands there twice.',
        reason.exists
          ? `Write ${quoted(reason.instead)}.`
          : `And this tree has no ${quoted(reason.instead)} either.`,
      ];
    case 'other-architecture': {
      const [place] = reason.places;
      const of = reason.architectures.length === 0 ? 'others' : join(reason.architectures);
      return [
        `This architecture has no such option; ${of} ${reason.architectures.length === 1 ? 'has' : 'have'} (${place ? placeText(place) : ''}).`,
        'Leave the request out for this architecture.',
      ];
    }
    case 'other-version': {
      const { releases, lookedAt, renamed, renamedHere } = reason;
      const without = lookedAt.filter((one) => !releases.includes(one));
      const known = `This tree has no such option. Of the releases looked at (${lookedAt.join(', ')}) ${join(releases)} ${releases.length === 1 ? 'has' : 'have'} it, and ${join(without)} ${without.length === 1 ? 'has' : 'have'} not.`;
      if (renamed) {
        const why =
          renamed.evidence === 'transitional' ? 'which takes its value over' : 'which has the same prompt';
        return [
          known,
          `It goes by the name ${renamed.option} elsewhere, ${why}${renamedHere ? ': ask for that' : ', and this tree has neither'}.`,
        ];
      }
      return [known, 'Leave the request out.'];
    }
    case 'misspelt':
      return [`This tree has no such option. Did you mean ${join(reason.nearest, 'or')}?`];
    case 'no-such-option':
      return [
        'This tree has no such option, no release looked at has it, and no name is near. Leave the request out.',
      ];
  }
}

function dependencySentences(
  told: Told,
  reason: Extract<Reason, { readonly kind: 'dependency' }>,
): readonly string[] {
  const { option, requested, value } = told;
  const given = sourceText(reason.source);
  const lead =
    value !== null && value !== 'n' && value !== requested && given !== ''
      ? [`It is ${valueText(value)} ${given}, and that cannot be changed by hand as things are.`]
      : [];
  if (reason.contradictory === true) {
    const places = join(reason.terms.map((term) => `${term.term} (${placeText(term)})`));
    return [
      ...lead,
      `Its conditions exclude each other or can never hold together${places === '' ? '' : `: ${places}`}. Leave the request out.`,
    ];
  }
  return [...lead, ...termSentences(option, reason.terms), ...advice(option, reason.terms)];
}

/** Goes on from "It is on …". */
function sourceText(source: ValueSource): string {
  switch (source.kind) {
    case 'default':
      return `by default (${placeText(source.default)})`;
    case 'implied':
    case 'selected':
      return `since ${selectorList(source.by)} ${source.kind === 'implied' ? 'implies' : 'selects'} it`;
    case 'asked':
    case 'base':
    case 'choice':
    case 'nothing':
      return '';
  }
}

/** What an option lacks, and what that lacks in turn, the nearest first. */
function termSentences(option: string, terms: readonly Term[]): readonly string[] {
  const sentences: string[] = [];
  const told = new Set<string>();
  let level: readonly (readonly [string, readonly Term[]])[] = [[option, terms]];
  while (level.length > 0 && sentences.length < mostSentences) {
    const next: (readonly [string, readonly Term[]])[] = [];
    for (const [name, list] of level) {
      const fresh = decisive(list).filter(({ term, option: other = term }) => !told.has(other));
      if (fresh.length === 0 || sentences.length >= mostSentences) continue;
      const subject = sentences.length === 0 ? 'It' : `${name} in turn`;
      sentences.push(`${subject} needs ${join(fresh.map(termText), 'and', fresh.length > 1 ? '; ' : ', ')}.`);
      for (const one of fresh) {
        const { term, option: other = term } = one;
        told.add(other);
        next.push([other, behind(one)]);
      }
    }
    level = next;
  }
  return sentences;
}

/** Goes on from "needs". */
export function termText({ term, option, value, needs, cause, file, line }: Term): string {
  const place = `(${placeText({ file, line })})`;
  if (option === undefined) {
    if (cause?.kind === 'choice') return `the choice ${quoted(term)} built in ${place}`;
    if (cause?.kind === 'probe') return `something of the environment that it does not have ${place}`;
    if (cause?.kind === 'variable') return `${quoted(term)}, which the environment decides ${place}`;
    return `${quoted(term)}, which is never so here ${place}`;
  }
  if (!/^[nmy](?: or [nmy])*$/.test(needs))
    return `${option} ${needs}, and that is ${valueText(value)} ${place}`;
  if (value === null) return `${option}, which this architecture does not have ${place}`;
  if (needs.includes('y'))
    return value === 'm'
      ? `${option} built in, and that is a module ${place}`
      : `${option}, which is ${valueText(value)} ${place}`;
  return `${option} to be ${join(needs.split(' or ').map(valueText), 'or')}, and that is ${valueText(value)} ${place}`;
}

function probeSentences(probes: readonly (ProbeFact | VariableFact)[]): readonly string[] {
  return probes.slice(0, 2).map((probe) => {
    const asked =
      'command' in probe
        ? `The environment was asked ${quoted(probe.written, 100)} and answered ${probe.answer === '' ? 'nothing' : quoted(probe.answer)}`
        : `The environment gives ${probe.name} as ${quoted(probe.value)}`;
    return probe.remedy ? `${asked}: ${probe.remedy.advice}.` : `${asked}.`;
  });
}

/**
 * What a person can do about terms that `option` lacks: the requests that would make them true, and what stands in the
 * way; or that nothing helps.
 */
function advice(option: string, terms: readonly Term[]): readonly string[] {
  const hopeless = terms.filter(isHopeless);
  if (hopeless.length > 0) {
    const grounds = new Set(hopeless.flatMap(groundsOf));
    return [...[...grounds].slice(0, mostSentences), `It cannot be so here: leave ${option} out.`];
  }
  const asks = new Set<string>();
  const obstacles = new Set<string>();
  collectAdvice(terms, asks, obstacles);
  const sentences = [...obstacles].slice(0, mostSentences);
  if (asks.size > 0) sentences.push(`Ask for ${join([...asks])} too.`);
  return sentences;
}

function collectAdvice(terms: readonly Term[], asks: Set<string>, obstacles: Set<string>): void {
  for (const { option, needs, cause, value, never } of terms) {
    if (!cause || option === undefined) {
      if (cause?.kind === 'choice') obstacles.add(`Ask for ${join(cause.members, 'or')} as \`y\`.`);
      continue;
    }
    const wish = wishText(option, needs);
    switch (cause.kind) {
      case 'open':
        asks.add(wish);
        break;
      case 'asked':
        obstacles.add(
          `${placeText(cause.origin)} asks for ${option}=${quoted(cause.requested)}: change that to ${wish}.`,
        );
        break;
      case 'choice':
        if (needs.includes('y')) asks.add(wish);
        else obstacles.add(choiceText(option, cause.members));
        break;
      case 'dependency':
        if (cause.contradictory === true) obstacles.add(`The conditions of ${option} exclude each other.`);
        collectAdvice(cause.terms, asks, obstacles);
        if (cause.terms.length > 0 && never !== true) asks.add(wish);
        break;
      case 'selected':
        obstacles.add(`${keptText(option, value, cause.by)}: that must be off first.`);
        for (const { terms: held = [] } of cause.by) collectAdvice(held, asks, obstacles);
        break;
      case 'automatic':
        obstacles.add(automaticText(option, needs, cause.selectors, cause.terms));
        collectAdvice(cause.terms, asks, obstacles);
        break;
      case 'probe':
      case 'variable':
      // Hopeless, and told as such.
      case 'undefined':
      case 'constant':
        break;
    }
  }
}

function keptText(option: string, value: string | null, by: readonly SelectorFact[]): string {
  return `${selectorList(by)} ${by.length === 1 ? 'keeps' : 'keep'} ${option} ${valueText(value)}`;
}

/** Terms behind a term: what would have to hold first. */
function behind({ cause }: Term): readonly Term[] {
  if (cause?.kind === 'selected') return cause.by.flatMap(({ terms = [] }) => terms);
  return cause?.kind === 'dependency' || cause?.kind === 'automatic' ? cause.terms : [];
}

/** Nothing makes it so: no request, and no other environment either, as far as that shows. */
function isHopeless(term: Term): boolean {
  return term.never === true && !isOfEnvironment(term);
}

/** It is the environment alone that denies it, and another one might not. */
function isOfEnvironment(term: Term): boolean {
  const { cause } = term;
  if (cause?.kind === 'probe') return cause.probes.some(isRemediable);
  if (cause?.kind === 'variable') return cause.variables.some(isRemediable);
  const denied = behind(term).filter(({ never }) => never === true);
  return denied.length > 0 && denied.every(isOfEnvironment);
}

/** What to do may not be known; of what follows from the architecture it is known that nothing does. */
function isRemediable({ remedy }: ProbeFact | VariableFact): boolean {
  return !remedy || remedy.packages.length > 0 || remedy.toolchain !== undefined;
}

/** The terms that matter: where there is no hope, those that take it. */
function decisive(terms: readonly Term[]): readonly Term[] {
  const hopeless = terms.filter(isHopeless);
  return hopeless.length > 0 ? hopeless : terms;
}

/** Why there is no hope for a term. */
function groundsOf(one: Term): readonly string[] {
  const { option, term, value, cause } = one;
  const further = behind(one).filter(isHopeless);
  if (further.length > 0) return further.flatMap(groundsOf);
  switch (cause?.kind) {
    case 'undefined': {
      const only = cause.architectures.length > 0 ? ` (only for ${join(cause.architectures)})` : '';
      return [`${option} does not exist for this architecture${only}.`];
    }
    case 'constant':
      return [`Nothing makes ${quoted(term)} true in this tree.`];
    case 'selected':
      return [`${keptText(option ?? term, value, cause.by)}.`];
    case 'automatic':
      return [
        `${option} has no prompt, so that nobody can set it by hand; the architecture or the tree decides.`,
      ];
    default:
      return [];
  }
}

function choiceText(option: string, members: readonly string[]): string {
  const others = members.filter((name) => name !== option).map((name) => `${name}=y`);
  if (others.length === 0) return `${option} is the only one of its choice that can be on.`;
  return `${option} goes off once another one of its choice is on: ask for ${join(others, 'or')}.`;
}

function wishText(option: string, needs: string): string {
  if (!/^[nmy](?: or [nmy])*$/.test(needs)) return `${option} ${needs}`;
  return `${option}=${needs.includes('y') ? 'y' : needs.includes('n') ? 'n' : 'm'}`;
}

function automaticText(
  option: string,
  needs: string,
  selectors: readonly SelectorFact[],
  terms: readonly Term[],
): string {
  const start = `${option} has no prompt, so that nobody can set it by hand`;
  if (selectors.length > 0)
    return `${start}: ${needs.includes('y') ? 'it comes on with' : 'it is on because of'} ${join(
      selectors.map(({ option: name }) => name),
      needs.includes('y') ? 'or' : 'and',
    )}.`;
  return terms.length > 0
    ? `${start}; it follows from what it needs.`
    : `${start}; the architecture or the tree decides.`;
}

function noPromptSentences(
  told: Told,
  reason: Extract<Reason, { readonly kind: 'no-prompt' }>,
): readonly string[] {
  const { option, requested } = told;
  const sentences = ['It has no prompt, so that nobody can set it by hand; other options decide.'];
  if (reason.selectors.length > 0) sentences.push(`These select it: ${selectorList(reason.selectors)}.`);
  const [first] = reason.defaults;
  if (first) {
    const condition = first.condition === undefined ? '' : ` if ${first.condition}`;
    sentences.push(`Its default is ${quoted(`${first.value}${condition}`, 100)} (${placeText(first)}).`);
  }
  sentences.push(...termSentences(option, reason.terms), ...probeSentences(reason.probes));
  const [blocked] = reason.selectors.filter(({ terms = [] }) => terms.length > 0);
  if (blocked) sentences.push(`${blocked.option} needs ${join((blocked.terms ?? []).map(termText))}.`);
  const advised = advice(option, reason.terms);
  if (reason.selectors.length === 0 && !first)
    sentences.push('Nothing in this tree sets it for this architecture.');
  else if (advised.length > 0) sentences.push(...advised);
  else if (reason.probes.length === 0 && requested !== 'n' && reason.selectors.length > 0)
    sentences.push('Ask for one of those instead.');
  else if (reason.probes.length === 0) sentences.push('Leave the request out.');
  return sentences;
}

function selectedSentences({ option, value }: Told, by: readonly SelectorFact[]): readonly string[] {
  const lead = `${selectorList(by)} ${by.length === 1 ? 'selects' : 'select'} it: it cannot be lower than that.`;
  const held = by.flatMap(({ terms = [] }) => terms);
  if (held.some(isHopeless)) return [lead, ...advice(option, held)];
  const free = by.filter(({ terms }) => !terms).map(({ option: name }) => name);
  const off =
    free.length === 0
      ? []
      : [`Switch ${held.length > 0 ? join(free) : by.length === 1 ? 'that' : 'those'} off`];
  const other = `ask for ${option}=${value ?? 'y'}.`;
  if (held.length === 0) return [lead, `${off.join('')}, or ${other}`];
  return [lead, ...off.map((text) => `${text}.`), ...advice(option, held), `Or ${other}`];
}

function mustWinSentences(
  option: string,
  choice: { readonly prompt: string } & Place,
  others: readonly MemberFact[],
): readonly string[] {
  const able = others.filter(({ terms }) => terms.length === 0);
  const start = `One of the choice ${quoted(choice.prompt)} (${placeText(choice)}) is always on`;
  if (able.length > 0) {
    const off = able.flatMap(({ option: name, origin }) =>
      origin ? [`${name} (${placeText(origin)})`] : [],
    );
    const also =
      off.length === 0 ? '' : `; ${join(off)} ${off.length === 1 ? 'is' : 'are'} asked to be off as well`;
    return [
      `${start}${also}. Ask for another one instead: ${join(
        able.map(({ option: name }) => `${name}=y`),
        'or',
      )}.`,
    ];
  }
  const [nearest] = [...others].sort((one, other) => one.terms.length - other.terms.length);
  if (!nearest) return [`${start}, and there is no other one.`];
  return [
    `${start}, and no other one can be.`,
    `${nearest.option} needs ${join(nearest.terms.map(termText))}.`,
    ...advice(option, nearest.terms),
  ];
}

function selectorList(by: readonly SelectorFact[]): string {
  const shown = by
    .slice(0, 4)
    .map(
      (one) =>
        `${one.option}, which is ${valueText(one.value)}${one.origin ? `, as ${placeText(one.origin)} asks` : ''} (${placeText(one)})`,
    );
  const more = by.length - shown.length;
  return join(more > 0 ? [...shown, `${more} more`] : shown, 'and', by.length > 1 ? '; ' : ', ');
}

function join(items: readonly string[], word = 'and', separator = ', '): string {
  if (items.length < 2) return items[0] ?? '';
  return `${items.slice(0, -1).join(separator)} ${word} ${items.at(-1)}`;
}
