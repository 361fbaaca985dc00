/**
 * Small Kconfig files that hold everything the language has, and `.config` files for them, as fast-check arbitraries:
 * plain records of numbers, so that they shrink, printed in the words of a generation.
 *
 * Symbols are S0, S1 and so on. Conditions mostly speak of earlier symbols and selects of later ones, since a circle is
 * an error that ends everything.
 */
import fc from 'fast-check';

import type { KernelSeries } from './kernel-trees.ts';

type Words = 'bool' | 'tristate' | 'int' | 'hex' | 'string';
const types: readonly Words[] = ['bool', 'bool', 'tristate', 'tristate', 'tristate', 'int', 'hex', 'string'];

interface Term {
  readonly symbol: number;
  readonly form: number;
}

interface Condition {
  readonly terms: readonly Term[];
  /** A bit for each joint: `&&` or `||`. */
  readonly joints: number;
  readonly negated: boolean;
}

interface Attribute {
  readonly kind: number;
  readonly target: number;
  readonly value: number;
  readonly condition: Condition | undefined;
}

interface Entry {
  readonly kind: number;
  readonly type: number;
  /** Which symbol a repeated definition is of. */
  readonly again: number;
  readonly prompt: Condition | boolean;
  readonly depends: Condition | undefined;
  readonly attributes: readonly Attribute[];
  readonly children: readonly Entry[];
}

export interface RandomKconfig {
  readonly modules: number;
  readonly entries: readonly Entry[];
}

const term: fc.Arbitrary<Term> = fc.record({ symbol: fc.nat(40), form: fc.nat(15) });
const condition: fc.Arbitrary<Condition> = fc.record({
  terms: fc.array(term, { minLength: 1, maxLength: 3 }),
  joints: fc.nat(7),
  negated: fc.boolean(),
});
const maybe = fc.option(condition, { nil: undefined, freq: 1 });
const attribute: fc.Arbitrary<Attribute> = fc.record({
  kind: fc.nat(9),
  target: fc.nat(40),
  value: fc.nat(40),
  condition: maybe,
});
const { entry } = fc.letrec<{ entry: Entry }>((tie) => ({
  entry: fc.record({
    kind: fc.nat(19),
    type: fc.nat(types.length - 1),
    again: fc.nat(40),
    prompt: fc.oneof(fc.boolean(), fc.constant(true), condition),
    depends: maybe,
    attributes: fc.array(attribute, { maxLength: 3 }),
    children: fc.oneof({ depthSize: 'small' }, fc.constant([]), fc.array(tie('entry'), { maxLength: 4 })),
  }),
}));

export const randomKconfig: fc.Arbitrary<RandomKconfig> = fc.record({
  modules: fc.nat(5),
  entries: fc.array(entry, { minLength: 1, maxLength: 8 }),
});

/** The text in the words of a generation; what it does not have is left out. */
export function printKconfig({ modules, entries }: RandomKconfig, series: KernelSeries): string {
  return new Printer(series).whole(modules, entries);
}

class Printer {
  readonly #lines: string[] = [];
  readonly #types: Words[] = [];
  /** Of choices. */
  readonly #members = new Set<number>();
  /** Defaults of choices that are to be of a symbol outside of any, as in no tree. */
  readonly #strays: { readonly line: number; readonly symbol: number }[] = [];
  readonly #choiceIsSymbol: boolean;
  readonly #series: KernelSeries;

  constructor(series: KernelSeries) {
    this.#series = series;
    this.#choiceIsSymbol = series === '5.10' || series === '6.1';
  }

  whole(modules: number, entries: readonly Entry[]): string {
    this.#add(0, 'mainmenu "Otter Bank"');
    if (modules > 0) {
      this.#add(0, 'config MODULES', this.#series === '5.10' ? '\toption modules' : '\tmodules');
      this.#add(
        0,
        modules > 1 ? '\tbool "Modules"' : '\tbool',
        ...(modules % 2 === 0 ? [] : ['\tdefault y']),
      );
    }
    for (const one of entries) this.#entry(one, false);
    for (const { line, symbol } of this.#strays) {
      if (symbol >= this.#types.length || this.#members.has(symbol)) continue;
      this.#lines[line] = this.#lines[line]?.replace(/S\d+/u, `S${symbol}`) ?? '';
    }
    return `${this.#lines.join('\n')}\n`;
  }

  #add(indent: number, ...lines: readonly string[]): void {
    this.#lines.push(...lines.map((line) => '\t'.repeat(indent) + line));
  }

  #entry(one: Entry, inChoice: boolean): void {
    const { kind, children, depends } = one;
    if (inChoice || kind < 11) return this.#config(one, inChoice);
    switch (kind) {
      case 11:
      case 12:
        this.#add(0, `menu "Menu ${this.#lines.length}"`);
        this.#depends(depends);
        if (typeof one.prompt !== 'boolean') this.#add(1, `visible if ${this.#text(one.prompt)}`);
        this.#children(children, false);
        return this.#add(0, 'endmenu');
      case 13:
      case 14:
        this.#add(0, `if ${depends ? this.#text(depends) : 'y'}`);
        this.#children(children, false);
        return this.#add(0, 'endif');
      case 15:
        this.#add(0, `comment "Comment ${this.#lines.length}"`);
        return this.#depends(depends);
      default:
        return this.#choice(one);
    }
  }

  #children(children: readonly Entry[], inChoice: boolean): void {
    for (const child of children) this.#entry(child, inChoice);
  }

  #choice({ prompt, depends, children, attributes, type, again }: Entry): void {
    const first = this.#types.length;
    const tristate = this.#choiceIsSymbol && type % 4 === 3;
    this.#add(0, 'choice');
    if (this.#choiceIsSymbol && again % 3 === 0) this.#add(1, tristate ? 'tristate' : 'bool');
    this.#add(
      1,
      `prompt "Choice ${this.#lines.length}"${typeof prompt === 'boolean' ? '' : ` if ${this.#text(prompt)}`}`,
    );
    this.#depends(depends);
    for (const { kind, target, value, condition: when } of attributes.slice(0, children.length)) {
      const member = first + (value % Math.max(children.length, 1));
      if (kind === 9) this.#strays.push({ line: this.#lines.length, symbol: target % 20 });
      this.#add(1, `default S${member}${this.#when(when)}`);
    }
    if (this.#choiceIsSymbol && again % 5 === 1) this.#add(1, 'optional');
    // Members speak of what was there before the choice: of one another they must not.
    const limit = this.#types.length;
    for (const child of children) {
      const name = this.#types.length;
      const member = tristate ? 'tristate' : 'bool';
      this.#types.push(member);
      this.#members.add(name);
      this.#add(0, `config S${name}`, `\t${member} "Member ${name}"`);
      if (child.depends && child.kind % 2 === 0)
        this.#add(1, `depends on ${this.#text(child.depends, limit)}`);
      for (const { kind, target, condition: when } of child.attributes.filter(({ kind: of }) => of < 2))
        this.#add(
          1,
          `${kind === 0 ? 'select' : 'imply'} S${limit + children.length + (target % 6)}${this.#when(when, limit)}`,
        );
    }
    this.#add(0, 'endchoice');
  }

  #config({ kind, type, again, prompt, depends, attributes }: Entry, inChoice: boolean): void {
    const repeated = !inChoice && kind === 0 && this.#types.length > 0;
    const name = repeated ? again % this.#types.length : this.#types.length;
    const word = (repeated ? this.#types[name] : types[type]) ?? 'bool';
    const limit = name;
    if (!repeated) this.#types.push(word);
    const titled = prompt !== false || kind === 1;
    this.#add(0, `${kind === 1 ? 'menuconfig' : 'config'} S${name}`);
    if (this.#series === '7.3' && kind === 2 && type % 3 === 0) return this.#add(1, word, 'transitional');
    const when = typeof prompt === 'boolean' ? '' : this.#when(prompt, limit);
    this.#add(1, titled ? `${word} "Symbol ${name}"${when}` : word);
    if (this.#series === '7.3' && depends && again % 4 === 0)
      this.#add(
        1,
        `depends on ${this.#text(depends, limit)} if ${this.#text({ ...depends, joints: 5 }, limit)}`,
      );
    else this.#depends(depends, limit);
    for (const one of attributes) this.#attribute(one, word, name);
  }

  #attribute({ kind, target, value, condition: when }: Attribute, word: Words, name: number): void {
    const suffix = this.#when(when, name);
    const tri = word === 'bool' || word === 'tristate';
    if (kind < 5) return this.#add(1, `default ${this.#value(word, value, name, when)}${suffix}`);
    if (tri && kind < 9)
      return this.#add(1, `${kind < 7 ? 'select' : 'imply'} S${name + 1 + (target % 6)}${suffix}`);
    if (word === 'int')
      return this.#add(1, `range ${this.#number(value, name)} ${this.#number(target + 10, name)}${suffix}`);
    if (word === 'hex')
      return this.#add(1, `range ${this.#hex(value, name)} ${this.#hex(target + 16, name)}${suffix}`);
  }

  #value(word: Words, value: number, limit: number, when: Condition | undefined): string {
    switch (word) {
      case 'bool':
      case 'tristate':
        return value % 3 === 0 && when
          ? this.#text({ ...when, joints: value }, limit)
          : (['y', 'm', 'n'][value % 3] ?? 'y');
      case 'int':
        return this.#number(value, limit);
      case 'hex':
        return this.#hex(value, limit);
      case 'string':
        return (
          (value % 4 === 0 ? this.#valued(value, limit) : undefined) ??
          ['"otter"', '""', String.raw`"a \"b\" \\c"`, "'bank'"][value % 4] ??
          '""'
        );
    }
  }

  #number(value: number, limit: number): string {
    return (value % 5 === 0 ? this.#valued(value, limit) : undefined) ?? String(value * 3 - 20);
  }

  #hex(value: number, limit: number): string {
    return (value % 5 === 0 ? this.#valued(value, limit) : undefined) ?? `0x${(value * 3).toString(16)}`;
  }

  /** A symbol whose value a number or a text may take over. The programs of 6.12 and 7.3 have none for members (`(null)`). */
  #valued(value: number, limit: number): string | undefined {
    const symbol = value % Math.max(limit, 1);
    return symbol >= limit || this.#members.has(symbol) ? undefined : `S${symbol}`;
  }

  #depends(depends: Condition | undefined, limit?: number): void {
    if (depends) this.#add(1, `depends on ${this.#text(depends, limit)}`);
  }

  #when(when: Condition | undefined, limit?: number): string {
    return when ? ` if ${this.#text(when, limit)}` : '';
  }

  #text({ terms, joints, negated }: Condition, limit = this.#types.length): string {
    const text = terms
      .map(
        (one, index) =>
          `${index === 0 ? '' : (joints >> index) % 2 === 0 ? ' && ' : ' || '}${this.#term(one, limit)}`,
      )
      .join('');
    return negated ? `!(${text})` : text;
  }

  #term({ symbol, form }: Term, limit: number): string {
    const name =
      limit === 0 || symbol === 39
        ? (['MODULES', 'NOWHERE', 'y', 'm'][form % 4] ?? 'y')
        : `S${symbol % limit}`;
    const other = limit === 0 ? '"otter"' : `S${(symbol + form) % limit}`;
    const forms = [
      '',
      '',
      '',
      '',
      '',
      '=y',
      '=m',
      '=n',
      '!=y',
      '!=n',
      `=${other}`,
      ` < ${other}`,
      ' >= 10',
      '="otter"',
      ' > 0x8',
    ];
    // The programs of 6.12 and 7.3 read memory amiss where a bool stands before `!=y` (expr_transform takes a symbol
    // for an expression): no answer of theirs counts then. The trees have it with tristates only.
    const isTristate = name.startsWith('S') && this.#types[Number(name.slice(1))] === 'tristate';
    const text = forms[form] ?? '';
    return form === 15 ? `!${name}` : `${name}${text === '!=y' && !isTristate ? '!=n' : text}`;
  }
}

interface ConfigLine {
  readonly symbol: number;
  readonly value: number;
}

export type RandomConfig = readonly ConfigLine[];

export const randomConfig: fc.Arbitrary<RandomConfig> = fc.array(
  fc.record({ symbol: fc.nat(24), value: fc.nat(29) }),
  { maxLength: 16 },
);

const values = [
  '=y',
  '=y',
  '=y',
  '=y',
  '=m',
  '=m',
  '=m',
  '=n',
  ' is not set',
  ' is not set',
  ' is not set',
  '=10',
  '=-3',
  '=0',
  '=77',
  '=0x10',
  '=0x0',
  '=fF',
  '=1e9',
  '="otter"',
  '=""',
  String.raw`="a\"b\\c"`,
  '="open',
  '=otter',
  '=',
  '',
  '=Y',
  ' is not set ',
  '=y ',
  '=007',
] as const;

/** A `.config`, most of it right. */
export function printConfig(lines: RandomConfig): string {
  return lines
    .map(({ symbol, value }) => {
      const option = `CONFIG_${symbol === 24 ? 'MODULES' : `S${symbol}`}`;
      const text = values[value] ?? '=y';
      return `${text.startsWith(' is') ? '# ' : ''}${option}${text}\n`;
    })
    .join('');
}
