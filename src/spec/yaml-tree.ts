/**
 * YAML as a tree in which everything knows its place in the text. js-yaml does the parsing and hands out a flat list
 * of events with offsets; here they are put together, so that an error found much later can still point at what
 * was written, and so that `6.10` and `0x10` can be told from 6.1 and 16.
 */
import {
  COLLECTION_STYLE,
  EVENT_ID,
  SCALAR_STYLE,
  YAMLException,
  getScalarValue,
  parseEvents,
  type Event,
  type ScalarEvent,
} from 'js-yaml';

/** Offsets into the text, `end` exclusive. */
export interface Range {
  readonly start: number;
  readonly end: number;
}

export interface YamlScalar extends Range {
  readonly kind: 'scalar';
  /** As it was written, quotes and all. */
  readonly raw: string;
  /** What it says: quotes taken off, escapes resolved, lines folded. */
  readonly text: string;
  /** Only a plain scalar can be anything but a string. */
  readonly plain: boolean;
}

export interface YamlEntry {
  readonly key: YamlScalar;
  readonly value: YamlNode;
}

export interface YamlMapping extends Range {
  readonly kind: 'mapping';
  /** In the order of the text; of a key that stands twice the first. */
  readonly entries: ReadonlyMap<string, YamlEntry>;
}

export interface YamlSequence extends Range {
  readonly kind: 'sequence';
  readonly items: readonly YamlNode[];
}

export type YamlNode = YamlScalar | YamlMapping | YamlSequence;

/** Something in the text that makes no tree, or not the one that was meant. */
export type YamlProblem = Range &
  (
    | { readonly kind: 'syntax'; readonly reason: string }
    | { readonly kind: 'alias' | 'anchor' | 'tag' | 'key' }
    | { readonly kind: 'duplicate'; readonly key: string; readonly first: Range }
  );

export interface YamlTree {
  /** The root of each document. */
  readonly documents: readonly YamlNode[];
  readonly problems: readonly YamlProblem[];
}

/** Deeper than any spec or lock goes; a hostile text would otherwise exhaust the stack. */
const deepest = 24;

type Frame =
  | { readonly kind: 'document'; root?: YamlNode }
  | { readonly kind: 'sequence'; readonly start: number; readonly flow: boolean; readonly items: YamlNode[] }
  | {
      readonly kind: 'mapping';
      readonly start: number;
      readonly flow: boolean;
      readonly entries: Map<string, YamlEntry>;
      key?: YamlNode | undefined;
    };

function isFlow({ style }: { readonly style: number }): boolean {
  return style === COLLECTION_STYLE.FLOW;
}

class TreeBuilder {
  readonly documents: YamlNode[] = [];
  readonly problems: YamlProblem[] = [];
  private readonly source: string;
  private readonly frames: Frame[] = [];
  /** End of the last scalar or property seen: where an empty value stands, and where a collection ends. */
  private last = 0;

  constructor(source: string) {
    this.source = source;
  }

  take(event: Event): void {
    switch (event.type) {
      case EVENT_ID.DOCUMENT:
        this.frames.push({ kind: 'document' });
        return;
      case EVENT_ID.SEQUENCE:
        this.properties(event);
        this.frames.push({ kind: 'sequence', start: event.start, flow: isFlow(event), items: [] });
        return;
      case EVENT_ID.MAPPING:
        this.properties(event);
        this.frames.push({ kind: 'mapping', start: event.start, flow: isFlow(event), entries: new Map() });
        return;
      case EVENT_ID.SCALAR:
        this.properties(event);
        this.add(this.scalar(event));
        return;
      case EVENT_ID.ALIAS: {
        const range = { start: event.anchorStart - 1, end: event.anchorEnd };
        this.problems.push({ kind: 'alias', ...range });
        this.last = range.end;
        this.add({ kind: 'scalar', raw: '', text: '', plain: false, ...range });
        return;
      }
      case EVENT_ID.POP:
        this.pop();
    }
  }

  private properties(event: Exclude<Event, { type: 1 | 5 | 6 }>): void {
    const { anchorStart, anchorEnd, tagStart, tagEnd } = event;
    if (anchorStart >= 0) this.problems.push({ kind: 'anchor', start: anchorStart - 1, end: anchorEnd });
    if (tagStart >= 0) this.problems.push({ kind: 'tag', start: tagStart, end: tagEnd });
    this.last = Math.max(this.last, anchorEnd, tagEnd);
  }

  private scalar(event: ScalarEvent): YamlScalar {
    if (event.valueStart < 0) {
      return { kind: 'scalar', raw: '', text: '', plain: true, start: this.last, end: this.last };
    }
    const { style } = event;
    const quotes = style === SCALAR_STYLE.SINGLE_QUOTED || style === SCALAR_STYLE.DOUBLE_QUOTED ? 1 : 0;
    const start = event.valueStart - quotes;
    const end = event.valueEnd + quotes;
    this.last = end;
    const text = getScalarValue(this.source, event);
    return {
      kind: 'scalar',
      raw: this.source.slice(start, end),
      text,
      plain: style === SCALAR_STYLE.PLAIN,
      start,
      end,
    };
  }

  /** The parser does not say where a bracket closes, only that it does: next, after blanks and perhaps a comma. */
  private close({ start, flow }: { readonly start: number; readonly flow: boolean }): Range {
    if (flow) {
      const opened = Math.max(this.last, start + 1);
      this.last = opened + (/^[\s,]*[\]}]/.exec(this.source.slice(opened, opened + 80))?.[0].length ?? 0);
    }
    return { start, end: Math.max(start, this.last) };
  }

  private pop(): void {
    const frame = this.frames.pop();
    if (frame?.kind === 'document') {
      if (frame.root) this.documents.push(frame.root);
    } else if (frame?.kind === 'sequence') {
      this.add({ kind: 'sequence', items: frame.items, ...this.close(frame) });
    } else if (frame?.kind === 'mapping') {
      this.add({ kind: 'mapping', entries: frame.entries, ...this.close(frame) });
    }
  }

  private add(node: YamlNode): void {
    const frame = this.frames.at(-1);
    if (frame?.kind === 'document') frame.root = node;
    else if (frame?.kind === 'sequence') frame.items.push(node);
    else if (frame?.kind === 'mapping') this.addToMapping(frame, node);
  }

  private addToMapping(frame: Frame & { kind: 'mapping' }, node: YamlNode): void {
    const { key } = frame;
    if (!key) {
      frame.key = node;
      return;
    }
    frame.key = undefined;
    if (key.kind !== 'scalar') {
      this.problems.push({ kind: 'key', start: key.start, end: key.end });
      return;
    }
    const before = frame.entries.get(key.text);
    if (before) this.problems.push({ ...key, kind: 'duplicate', key: key.text, first: before.key });
    else frame.entries.set(key.text, { key, value: node });
  }
}

function syntaxProblem(error: unknown, length: number): YamlProblem {
  const known = error instanceof YAMLException;
  const start = Math.min(known ? (error.mark?.position ?? 0) : 0, length);
  const reason = known ? error.reason : error instanceof Error ? error.message : String(error);
  return { kind: 'syntax', reason, start, end: start + 1 };
}

/** Reads YAML 1.2. Never throws: a text that is not YAML has a problem of kind `syntax` and no documents. */
export function readYamlTree(source: string): YamlTree {
  try {
    const builder = new TreeBuilder(source);
    for (const event of parseEvents(source, { maxDepth: deepest })) builder.take(event);
    return { documents: builder.documents, problems: builder.problems };
  } catch (error) {
    return { documents: [], problems: [syntaxProblem(error, source.length)] };
  }
}

const integer = /^(?:[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+)$/;
const float =
  /^(?:[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?|[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN))$/;

function floatOf(text: string): number {
  const plain = text.toLowerCase();
  if (plain === '.nan') return NaN;
  if (plain.endsWith('.inf')) return plain.startsWith('-') ? -Infinity : Infinity;
  return Number(plain);
}

/** What a scalar means in the core schema of YAML 1.2.2, section 10.3.2. */
export function scalarValue({ text, plain }: YamlScalar): string | number | boolean | null {
  if (!plain) return text;
  if (/^(?:null|Null|NULL|~|)$/.test(text)) return null;
  if (/^(?:true|True|TRUE)$/.test(text)) return true;
  if (/^(?:false|False|FALSE)$/.test(text)) return false;
  if (integer.test(text)) return /^0[xo]/.test(text) ? Number(text) : parseInt(text, 10);
  return float.test(text) ? floatOf(text) : text;
}

/** The tree as plain values. Objects have no prototype, so that a key named `__proto__` is a key like any other. */
export function plainValue(node: YamlNode): unknown {
  if (node.kind === 'scalar') return scalarValue(node);
  if (node.kind === 'sequence') return node.items.map(plainValue);
  const object: unknown = Object.create(null);
  if (typeof object !== 'object' || object === null) return object;
  for (const [key, { value }] of node.entries) {
    Object.defineProperty(object, key, {
      value: plainValue(value),
      enumerable: true,
      configurable: true,
      writable: true,
    });
  }
  return object;
}

export type YamlPath = readonly (string | number)[];

/** The node at `path`, with the key it stands behind; `undefined` when there is none. */
export function nodeAt(
  root: YamlNode,
  path: YamlPath,
): { readonly node: YamlNode; readonly key: YamlScalar | undefined } | undefined {
  let node: YamlNode = root;
  let key: YamlScalar | undefined;
  for (const step of path) {
    const entry = node.kind === 'mapping' ? node.entries.get(String(step)) : undefined;
    const next = node.kind === 'sequence' && typeof step === 'number' ? node.items[step] : entry?.value;
    if (!next) return undefined;
    node = next;
    key = entry?.key;
  }
  return { node, key };
}
