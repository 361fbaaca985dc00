import type { z } from 'zod';
import type { Diagnostic, Span } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { specCodes } from './codes.ts';
import { lockContradictions } from './lock-contradictions.ts';
import { lockSchema } from './lock-schema.ts';
import { readOnce } from './schema.ts';
import type { Lock } from './lock.ts';
import { pathText } from './path-text.ts';
import { nodeAt, readYamlTree, type YamlNode, type YamlPath } from './yaml-tree.ts';

/** In UTF-16 code units. A lock takes some 300 for each package, of which there are a few hundred at most. */
const largest = 8 * 1024 * 1024;

/** More of them help nobody: a lock is written by a program, and is right or wrong as a whole. */
const mostErrors = 20;

const restore =
  'take the lock from version control again, or delete it and pin the spec anew with `quern pin`';

export interface LockReading {
  readonly value: Lock | undefined;
  readonly diagnostics: readonly Diagnostic[];
}

/** Places in a JSON text, which is YAML as well. Without a tree everything is at the beginning. */
class Places {
  private readonly file: string;
  private readonly root: YamlNode | undefined;

  constructor(file: string, root: YamlNode | undefined) {
    this.file = file;
    this.root = root;
  }

  /** The place of `path`, or of the nearest thing around it that is there. */
  span(path: YamlPath): Span {
    for (let length = path.length; this.root && length >= 0; length -= 1) {
      const found = nodeAt(this.root, path.slice(0, length));
      if (!found) continue;
      const { start, end } =
        found.node.kind === 'scalar'
          ? found.node
          : (found.key ?? { start: found.node.start, end: found.node.start + 1 });
      return { file: this.file, start, end };
    }
    return { file: this.file, start: 0, end: 0 };
  }

  /** What stands at `path`, for a message; `undefined` when nothing does. */
  written(path: YamlPath): string | undefined {
    const node = this.root && nodeAt(this.root, path)?.node;
    if (!node) return undefined;
    return node.kind === 'scalar' ? quoted(node.raw) : node.kind === 'mapping' ? 'this object' : 'this list';
  }
}

/** @param why left out where nothing but that it is missing is to be said */
function broken(places: Places, path: YamlPath, why?: string): Diagnostic {
  const place = path.length === 0 ? 'the lock' : `\`${pathText(path, '')}\``;
  const written = places.written(path);
  const what = written === undefined ? 'is missing' : `cannot be ${written}`;
  return specCodes.report('spec/lock-content', {
    message: why === undefined ? `${place} ${what}` : `${place} ${what}: ${why}`,
    span: places.span(path),
    help: restore,
  });
}

function explain(issue: z.core.$ZodIssue, places: Places): Diagnostic[] {
  const path = issue.path.map((step) => (typeof step === 'number' ? step : String(step)));
  if (issue.code === 'unrecognized_keys') {
    return issue.keys.map((key) => broken(places, [...path, key], 'there is no such key'));
  }
  if (issue.code === 'invalid_key') {
    return [broken(places, path, issue.issues[0]?.message ?? 'no such key may stand there')];
  }
  return [broken(places, path, places.written(path) === undefined ? undefined : issue.message)];
}

function checkVersion(data: unknown, places: Places): Diagnostic[] {
  if (!isObject(data)) return [];
  const { lock: version = 1, answers } = data;
  if (version !== 1) {
    return [
      specCodes.report('spec/lock-version', {
        message: `the lock has the format ${places.written(['lock']) ?? 'of no number'}, and this version of Quern reads format 1`,
        span: places.span(['lock']),
        help: 'use the version of Quern that wrote it, or delete the lock and pin the spec anew with `quern pin`',
      }),
    ];
  }
  if (!isObject(answers) || ['variables', 'probes', 'pack'].some((key) => key in answers)) return [];
  return [
    specCodes.report('spec/lock-version', {
      message:
        'the answers in the lock are those of an earlier version of Quern: they lack what the environment said',
      span: places.span(['answers']),
      help: 'take `answers` out of the lock, or delete it to pin everything anew, and run `quern pin`',
    }),
  ];
}

function isObject(data: unknown): data is Readonly<Record<string, unknown>> {
  return typeof data === 'object' && data !== null;
}

const unexpected = 'Unexpected token';
/** In so many characters a token is looked for; a lock has some hundred thousand, and one from a stranger any number. */
const searched = 128 << 10;

function jsonFault(text: string): string | undefined {
  try {
    JSON.parse(text);
    return undefined;
  } catch (error) {
    return error instanceof Error ? error.message : String(error);
  }
}

/** V8 names an unexpected token without its place: the shortest beginning that is wrong in the same way ends with it. */
function placeOfToken(text: string): number {
  if (text.length > searched) return text.length;
  let sound = 0;
  let wrong = text.length;
  while (wrong - sound > 1) {
    const middle = Math.floor((sound + wrong) / 2);
    if (jsonFault(text.slice(0, middle))?.startsWith(unexpected)) wrong = middle;
    else sound = middle;
  }
  return sound;
}

/** The place in a JSON text that V8's message names, in any of its wordings. */
function syntaxError(error: unknown, text: string, file: string): Diagnostic {
  const reason = error instanceof Error ? error.message : String(error);
  // the last: before it V8 may quote what stands there
  const named = /at position (\d+)[^"]*$/.exec(reason)?.[1];
  const place = reason.startsWith(unexpected) ? placeOfToken(text) : text.length;
  const start = named === undefined ? place : Math.min(Number(named), text.length);
  return specCodes.report('spec/lock-json', {
    message: 'the lock is not JSON: it breaks off or goes wrong here',
    span: { file, start, end: start + 1 },
    help: restore,
  });
}

/**
 * Reads a lock. It is input from outside like a spec: every text in it is checked against a grammar, and the whole
 * against itself. Never throws.
 *
 * @param text the whole file
 * @param file its name, for the places in diagnostics
 */
export function readLock(text: string, file: string): LockReading {
  const wrong = (diagnostics: readonly Diagnostic[]): LockReading => ({
    value: undefined,
    diagnostics: diagnostics.slice(0, mostErrors),
  });
  if (text.length > largest) {
    const message = `the lock is ${text.length} characters long, and at most ${largest} are read`;
    return wrong([specCodes.report('spec/lock-content', { message, help: restore })]);
  }
  let data: unknown;
  try {
    data = JSON.parse(text);
  } catch (error) {
    return wrong([syntaxError(error, text, file)]);
  }
  const { documents, problems } = readYamlTree(text);
  const places = new Places(file, documents[0]);
  const version = checkVersion(data, places);
  if (version.length > 0) return wrong(version);
  const twice = problems
    .filter(({ kind }) => kind === 'duplicate')
    .map(({ start, end }) =>
      specCodes.report('spec/lock-content', {
        message: `the key ${quoted(text.slice(start, end))} stands in the lock a second time`,
        span: { file, start, end },
        help: restore,
      }),
    );
  const { success, data: lock, error } = lockSchema.safeParse(data, readOnce);
  if (!success) return wrong([...twice, ...error.issues.flatMap((issue) => explain(issue, places))]);
  const faults = [...twice, ...lockContradictions(lock).map(({ path, why }) => broken(places, path, why))];
  return faults.length > 0 ? wrong(faults) : { value: lock, diagnostics: [] };
}
