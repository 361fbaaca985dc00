/**
 * Push parser for Debian control data: stanzas of `Name: value` fields, a field going on over lines that begin with
 * white space. `Packages`, `Release` and `Sources` files and the control file of a package are written so.
 * Source: Debian Policy section 5.1 and deb822(5).
 *
 * A `Packages` file has 50 MB in more than a million lines, of which a reader wants a handful per stanza: fields that
 * nobody asked for are skipped without a string being kept for them.
 */

/** Field names in lower case. The value's lines are joined by `\n`, each without the white space around it. */
export type Stanza = ReadonlyMap<string, string>;

export interface Deb822Problem {
  /** Counted from 1. */
  readonly line: number;
  readonly reason: string;
}

export interface Deb822Options {
  /** Names of the fields to keep, any case; all when absent. */
  readonly fields?: Iterable<string>;
  /** Called for each stanza that has at least one field, kept or not; `line` is the one it begins on. */
  readonly onStanza: (stanza: Stanza, line: number) => void;
}

export interface Deb822Parser {
  feed(chunk: Uint8Array): void;
  /** Ends the last stanza. What was wrong with the text: the first twenty problems. */
  end(): readonly Deb822Problem[];
}

/** No line of an archive's indexes comes near this; without a limit a text without line ends would fill the memory. */
const longestLine = 4 << 20;
const mostProblems = 20;
/** A field's name: printable US-ASCII without the colon, not beginning with `-` or `#`. */
const namePattern = /^[!"$-,.-9;-~][!-9;-~]*$/;

const newline = 10;
const tab = 9;
const space = 32;
const hash = 35;

/** What becomes of a field once its name was seen: kept under this name, or skipped. */
type Fate = { readonly keep: string } | 'skip' | 'malformed';

class Parser implements Deb822Parser {
  readonly #wanted: ReadonlySet<string> | undefined;
  readonly #onStanza: Deb822Options['onStanza'];
  readonly #decoder = new TextDecoder('utf-8');
  readonly #fates = new Map<string, Fate>();
  readonly #problems: Deb822Problem[] = [];
  /** The beginning of a line whose end has not come yet. */
  #rest = '';
  /** Of the line that is being read. */
  #line = 0;
  #stanzaLine = 0;
  #stanza = new Map<string, string>();
  #inStanza = false;
  /** The field that a continuation line would go on; empty when it is skipped, undefined when there is none. */
  #field: string | undefined;

  constructor({ fields, onStanza }: Deb822Options) {
    this.#wanted = fields && new Set([...fields].map((name) => name.toLowerCase()));
    this.#onStanza = onStanza;
  }

  feed(chunk: Uint8Array): void {
    const text = this.#rest + this.#decoder.decode(chunk, { stream: true });
    this.#rest = text.slice(this.#readLines(text));
    if (this.#rest.length > longestLine) {
      this.#complain('the line is too long', this.#line + 1);
      this.#rest = '';
    }
  }

  end(): readonly Deb822Problem[] {
    this.#readLines(`${this.#rest}${this.#decoder.decode()}\n`);
    this.#rest = '';
    this.#endStanza();
    return this.#problems;
  }

  /** Reads the whole lines of `text` and answers where the rest begins. */
  #readLines(text: string): number {
    let start = 0;
    for (;;) {
      const end = text.indexOf('\n', start);
      if (end < 0) return start;
      this.#line += 1;
      const first = text.charCodeAt(start);
      if (first === newline) this.#endStanza();
      else if (first === space || first === tab) this.#readContinuation(text, start, end);
      else if (first !== hash) this.#readField(text, start, end);
      start = end + 1;
    }
  }

  #readField(text: string, start: number, end: number): void {
    const colon = text.indexOf(':', start);
    if (colon < 0 || colon > end) {
      if (text.slice(start, end).trim() === '') this.#endStanza();
      else this.#complain('the line has no colon, so it is no field');
      return;
    }
    if (!this.#inStanza) {
      this.#inStanza = true;
      this.#stanzaLine = this.#line;
    }
    const fate = this.#fateOf(text.slice(start, colon));
    this.#field = typeof fate === 'object' ? fate.keep : '';
    if (fate === 'malformed') this.#complain('the field has a name that Debian Policy does not allow');
    if (this.#field === '') return;
    if (this.#stanza.has(this.#field)) {
      this.#complain(`the field ${this.#field} stands twice in one stanza`);
      this.#field = '';
      return;
    }
    this.#stanza.set(this.#field, text.slice(colon + 1, end).trim());
  }

  #readContinuation(text: string, start: number, end: number): void {
    if (this.#field === '') return;
    const content = text.slice(start, end).trim();
    // Policy lets a reader take a line of white space alone as the end of a stanza.
    if (content === '') return this.#endStanza();
    if (this.#field === undefined) return this.#complain('a continuation line without a field to go on');
    this.#stanza.set(this.#field, `${this.#stanza.get(this.#field) ?? ''}\n${content}`);
  }

  /** The name's spelling repeats in every stanza, so what to do with it is worked out once. */
  #fateOf(spelling: string): Fate {
    const known = this.#fates.get(spelling);
    if (known !== undefined) return known;
    const name = spelling.toLowerCase();
    let fate: Fate = 'malformed';
    if (namePattern.test(name)) fate = !this.#wanted || this.#wanted.has(name) ? { keep: name } : 'skip';
    if (this.#fates.size < 1000) this.#fates.set(spelling, fate);
    return fate;
  }

  #endStanza(): void {
    this.#field = undefined;
    if (!this.#inStanza) return;
    this.#inStanza = false;
    const stanza = this.#stanza;
    this.#stanza = new Map();
    this.#onStanza(stanza, this.#stanzaLine);
  }

  #complain(reason: string, line = this.#line): void {
    if (this.#problems.length < mostProblems) this.#problems.push({ line, reason });
  }
}

/** A parser that takes the text in pieces of any size, as UTF-8 bytes, and hands out each stanza when it is whole. */
export function deb822Parser(options: Deb822Options): Deb822Parser {
  return new Parser(options);
}

/** All stanzas of a small text, and what is wrong with it. */
export function parseDeb822(text: string): {
  readonly stanzas: readonly Stanza[];
  readonly problems: readonly Deb822Problem[];
} {
  const stanzas: Stanza[] = [];
  const parser = deb822Parser({ onStanza: (stanza) => stanzas.push(stanza) });
  parser.feed(new TextEncoder().encode(text));
  return { stanzas, problems: parser.end() };
}
