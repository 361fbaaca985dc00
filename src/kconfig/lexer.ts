import type { Dialect } from './dialect.ts';
import type { HelpSpan } from './model.ts';
import type { Macros } from './macros.ts';
import type { Reports } from './reports.ts';
import type { KconfigCode } from './codes.ts';
import { quoted } from '../diagnostics/printable.ts';
import { hashStep, type DraftSymbol, type SymbolTable } from './draft.ts';
import { keywordsOf, token, type Keywords, type Token } from './token.ts';

/** A file that is being read, or waits until one that it sources is through. */
interface Frame {
  readonly file: string;
  readonly text: string;
  readonly position: number;
  readonly line: number;
  /** The line of its `source` statement. */
  readonly sourceLine: number;
}

const kindBlank = 1;
const kindNewline = 2;
const kindWord = 3;
const kindDollar = 4;
const kindHash = 5;
const kindQuote = 6;
const kindBackslash = 7;
const kindOperator = 8;

/** Classes of characters; 0 is what has no meaning. */
const classes: Uint8Array = new Uint8Array(0x10000);
for (let code = 0; code < 128; code += 1) {
  if (/[A-Za-z0-9_-]/.test(String.fromCharCode(code))) classes[code] = kindWord;
}
classes[0x20] = kindBlank;
classes[0x09] = kindBlank;
classes[0x0a] = kindNewline;
classes[0x24] = kindDollar;
classes[0x23] = kindHash;
classes[0x22] = kindQuote;
classes[0x27] = kindQuote;
classes[0x5c] = kindBackslash;
for (const operator of '|&=!<>()+:') classes[operator.charCodeAt(0)] = kindOperator;

const newline = 0x0a;
const dollar = 0x24;
const backslash = 0x5c;
const equals = 0x3d;

/** Tabs go to the next multiple of eight. */
function column(after: number, code: number): number {
  return code === 0x09 ? (after & ~7) + 8 : after + 1;
}

/**
 * Cuts Kconfig text into tokens, as lexer.l of the kernel's program does. `source` puts another file in front of the
 * rest; blocks may reach over its end, so the whole tree is one stream of tokens.
 *
 * The current token is in the fields: they change with each `next`.
 */
export class Lexer {
  kind: Token = token.eol;
  /** Of a word: the hash that the table of symbols goes by. */
  hash = 0;
  /** Of a quoted token, or of a word that was a macro; a plain word is not cut out of the text unless asked for. */
  private made: string | undefined;
  /** Where the token starts and ends in `text`. */
  start = 0;
  end = 0;
  /** The line of the token that starts the statement. */
  statementLine = 1;
  /** The line that is being read. */
  line = 1;
  file = '';
  text = '';
  /** The statement comes right after a help text: there the program does not see that a word is assigned to. */
  afterHelp = false;
  /** The help text that was read last has nothing in it. */
  blankHelp = false;

  private position = 0;
  private atStart = true;
  private helpEnded = false;
  private stopped = false;
  private readonly frames: Frame[] = [];
  private sourceLine = 0;
  private readonly keywords: Keywords;
  private readonly macros: Macros;
  private readonly reports: Reports;
  private readonly needsLastLineFeed: boolean;

  constructor(dialect: Dialect, macros: Macros, reports: Reports) {
    this.keywords = keywordsOf(dialect);
    this.needsLastLineFeed = dialect.needsLastLineFeed;
    this.macros = macros;
    this.reports = reports;
  }

  /** Reads `text` next; what comes after the `source` statement follows when it is through. */
  enter(file: string, text: string): void {
    if (this.file !== '') {
      const { position, line, sourceLine } = this;
      this.frames.push({ file: this.file, text: this.text, position, line, sourceLine });
    }
    this.sourceLine = this.statementLine;
    this.file = file;
    this.text = text;
    this.position = 0;
    this.line = 1;
  }

  /** How many files are open. */
  depth(): number {
    return this.frames.length + 1;
  }

  isOpen(file: string): boolean {
    return this.file === file || this.frames.some((frame) => frame.file === file);
  }

  /** From where the current file is sourced, the innermost first. */
  includedFrom(): readonly string[] {
    const chain: string[] = [];
    let line = this.sourceLine;
    for (let index = this.frames.length - 1; index >= 0; index -= 1) {
      const frame = this.frames[index];
      if (!frame) break;
      chain.push(`included from ${frame.file}:${line}`);
      line = frame.sourceLine;
    }
    return chain.length <= 8 ? chain : [...chain.slice(0, 4), '…', ...chain.slice(-3)];
  }

  /** No more tokens but the end. */
  stop(): void {
    this.stopped = true;
  }

  /** The text of a word or a quoted token. */
  value(): string {
    return this.made ?? this.text.slice(this.start, this.end);
  }

  /** The symbol that a word names. */
  symbol(table: SymbolTable): DraftSymbol {
    if (this.made !== undefined) return table.named(this.made);
    return table.find(this.text, this.start, this.end, this.hash);
  }

  is(kind: Token): boolean {
    return this.kind === kind;
  }

  /** A complaint about the text from `start` to `end` of the current file. */
  complain(code: KconfigCode, message: string, start: number, end: number, help?: string): void {
    if (!this.reports.wants(code)) return;
    const span = { file: this.file, start, end: Math.max(end, start + 1) };
    this.reports.at(code, message, span, this.text, { notes: this.includedFrom(), help });
  }

  /** A complaint about the line that is being read. */
  complainLine(code: KconfigCode, message: string, help?: string): void {
    const { text, position } = this;
    const start = position === 0 ? 0 : text.lastIndexOf('\n', position - 1) + 1;
    const end = text.indexOf('\n', position);
    this.complain(code, message, start, end < 0 ? text.length : end, help);
  }

  next(): Token {
    for (;;) {
      const kind = this.stopped ? token.end : this.scan();
      if (kind === token.eol && this.atStart) continue;
      if (this.atStart) {
        this.afterHelp = this.helpEnded;
        this.helpEnded = false;
      }
      this.atStart = kind === token.eol;
      this.kind = kind;
      return kind;
    }
  }

  /** Passes over the rest of a statement that makes no sense. */
  skipLine(): void {
    while (this.kind !== token.eol && this.kind !== token.end) this.next();
  }

  /**
   * Reads a help text; the line of `help` has just been read. It ends before the first line that is indented less
   * than its first.
   */
  readHelp(): HelpSpan {
    const { text } = this;
    const start = this.position;
    let position = start;
    let first = 0;
    let blank = true;
    while (position < text.length) {
      let indent = 0;
      let code = text.charCodeAt(position);
      while (code === 0x20 || code === 0x09) {
        indent = column(indent, code);
        position += 1;
        code = text.charCodeAt(position);
      }
      if (position >= text.length) break;
      if (code !== newline) {
        if (first > 0 && indent < first) break;
        if (first === 0) first = indent;
        blank = false;
        const end = text.indexOf('\n', position);
        position = end < 0 ? text.length : end;
        if (position >= text.length) break;
      }
      position += 1;
      this.line += 1;
      const following = text.charCodeAt(position);
      if (position < text.length && following !== newline && following !== 0x20 && following !== 0x09) break;
    }
    this.position = position;
    this.atStart = true;
    this.helpEnded = true;
    this.blankHelp = blank;
    return { start, end: position };
  }

  /** What is assigned: the rest of the line behind its first blanks, as it stands. */
  readAssigned(): string {
    const { text } = this;
    let position = this.position;
    while (position < text.length && classes[text.charCodeAt(position)] === kindBlank) position += 1;
    const lineEnd = text.indexOf('\n', position);
    const end = lineEnd < 0 ? text.length : lineEnd;
    this.position = end;
    return text.slice(position, end);
  }

  private scan(): Token {
    const { text } = this;
    let position = this.position;
    for (;;) {
      if (position >= text.length) {
        this.position = position;
        return this.endFile();
      }
      const code = text.charCodeAt(position);
      const kind: number = classes[code] ?? 0;
      switch (kind) {
        case kindBlank:
          position += 1;
          continue;
        case kindNewline:
          this.position = position + 1;
          this.start = position;
          this.end = position + 1;
          this.line += 1;
          return token.eol;
        case kindWord: {
          if (this.atStart) this.statementLine = this.line;
          let hash = code;
          let end = position + 1;
          let following = text.charCodeAt(end);
          while (classes[following] === kindWord) {
            hash = hashStep(hash, following);
            end += 1;
            following = text.charCodeAt(end);
          }
          // Something is left of it, unless its macro cannot be expanded.
          if (following === dollar) return this.expandWord(position) ? token.word : token.end;
          this.start = position;
          this.end = end;
          this.position = end;
          this.hash = hash;
          this.made = undefined;
          return this.keywords.kindOf(text, position, end);
        }
        case kindDollar:
          if (this.expandWord(position)) return token.word;
          if (this.stopped) return token.end;
          position = this.position;
          continue;
        case kindHash: {
          const end = text.indexOf('\n', position);
          position = end < 0 ? text.length : end;
          continue;
        }
        case kindQuote:
          if (this.atStart) this.statementLine = this.line;
          this.readString(position, code);
          return token.quoted;
        case kindBackslash:
          if (text.charCodeAt(position + 1) === newline) {
            position += 2;
            this.line += 1;
            continue;
          }
          break;
        case kindOperator: {
          const operator = this.readOperator(position, code);
          if (operator !== token.end) {
            if (this.atStart) this.statementLine = this.line;
            return operator;
          }
          break;
        }
      }
      this.ignore(position);
      position += 1;
    }
  }

  private ignore(position: number): void {
    if (!this.reports.wants('kconfig/ignored-character')) return;
    const shown = quoted(this.text.charAt(position));
    this.complain('kconfig/ignored-character', `the character ${shown} is ignored`, position, position + 1);
  }

  private endFile(): Token {
    if (!this.atStart) {
      const { length } = this.text;
      // Of a file that is sourced the program makes an end of line of its end; of the first one newer ones do not.
      const broken = this.frames.length === 0 && this.needsLastLineFeed;
      const code = broken ? 'kconfig/syntax' : 'kconfig/no-newline';
      this.complain(code, 'the last line does not end with a line feed', length, length);
    }
    this.start = this.text.length;
    this.end = this.text.length;
    const frame = this.frames.pop();
    if (!frame) {
      // One end of line, so that the last statement is complete; then the end.
      if (this.atStart) return token.end;
      return token.eol;
    }
    this.file = frame.file;
    this.text = frame.text;
    this.position = frame.position;
    this.line = frame.line;
    this.sourceLine = frame.sourceLine;
    return token.eol;
  }

  /** A word with `$` in it. @returns false when nothing is left of it */
  private expandWord(position: number): boolean {
    const { text } = this;
    if (this.atStart) this.statementLine = this.line;
    const lineEnd = text.indexOf('\n', position);
    const expanded = this.macros.expandWord(text, position, lineEnd < 0 ? text.length : lineEnd);
    this.start = position;
    this.end = expanded.end;
    this.position = expanded.end;
    this.made = expanded.value;
    return expanded.value !== '';
  }

  private readString(open: number, quote: number): void {
    const { text } = this;
    this.start = open;
    let position = open + 1;
    let from = position;
    let value = '';
    for (;;) {
      if (position >= text.length) break;
      const code = text.charCodeAt(position);
      if (code === quote) {
        this.made = value + text.slice(from, position);
        this.position = position + 1;
        this.end = this.position;
        return;
      }
      if (code === newline) {
        const message = 'the string is not closed on its line';
        this.complain('kconfig/open-string', message, open, position, 'put the closing quote at its end');
        break;
      }
      if (code === backslash) {
        value += text.slice(from, position);
        position += 1;
        from = position;
        if (position < text.length && text.charCodeAt(position) !== newline) position += 1;
      } else if (code === dollar) {
        const lineEnd = text.indexOf('\n', position);
        value += text.slice(from, position);
        const end = lineEnd < 0 ? text.length : lineEnd;
        const expanded = this.macros.expandDollar(text, position + 1, end);
        value += expanded.value;
        position = expanded.end;
        from = position;
        if (this.stopped) break;
      } else position += 1;
    }
    this.made = value + text.slice(from, position);
    this.position = position;
    this.end = position;
  }

  /** @returns `token.end` when the character is no operator by itself */
  private readOperator(position: number, code: number): Token {
    const following = this.text.charCodeAt(position + 1);
    let kind: Token = token.end;
    let length = 1;
    if (following === equals && code !== equals && code !== 0x28 && code !== 0x29) {
      length = 2;
      if (code === 0x21) kind = token.unequal;
      else if (code === 0x3c) kind = token.lessEqual;
      else if (code === 0x3e) kind = token.greaterEqual;
      else if (code === 0x3a) kind = token.colonEqual;
      else if (code === 0x2b) kind = token.plusEqual;
    } else if (code === equals) kind = token.equal;
    else if (code === 0x28) kind = token.open;
    else if (code === 0x29) kind = token.close;
    else if (code === 0x21) kind = token.not;
    else if (code === 0x3c) kind = token.less;
    else if (code === 0x3e) kind = token.greater;
    else if (following === code && code === 0x7c) {
      kind = token.or;
      length = 2;
    } else if (following === code && code === 0x26) {
      kind = token.and;
      length = 2;
    }
    this.start = position;
    this.end = position + length;
    if (kind !== token.end) this.position = position + length;
    return kind;
  }
}
