/**
 * Kernel trees that were read, in the store: reading one again takes many times as long. In the folder `models` beside the
 * store's files each has one of its own, named after all that the reading hangs on:
 *
 *     quern-tree VERSION KEY SHA256 BYTES      the digest is that of all behind this line; blanks fill it up
 *     (so many bytes of JSON: variables, diagnostics, answers; blanks fill them up)
 *     (the model, as `storeModel` writes it; it begins at a multiple of four)
 *
 * It may come back from a CI cache, and is looked at like anything from outside: what is damaged is read again. By hand,
 * since the library that does so elsewhere takes longer to start than all that is read here.
 */
import { createHash } from 'node:crypto';

import { exitCodes, type Diagnostic } from '../diagnostics/diagnostic.ts';
import { printable } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import type { MakeEnvironment, MakeRequest } from '../kconfig/make-environment.ts';
import { restoreModel, storeModel } from '../kconfig/model-store.ts';
import { modelVersion } from '../kconfig/model-tables.ts';
import type { Answers, WholeReading } from '../kconfig/tree-questions.ts';

/** Goes up when this format changes, or when trees are read otherwise than before; the model has a version of its own. */
export const treeVersion = 2;

/** All that the reading of a tree hangs on. */
export interface TreeKey {
  /** SHA-256 that stands for the content of the pack, with its patches. */
  readonly pack: string;
  readonly request: MakeRequest;
  /** The answers that are at hand, whether the tree asks for all of them or not. */
  readonly answers: Answers;
}

/**
 * The reading of a tree: from the store, or else made, and then kept unless something is wrong with the tree. One that had
 * to ask for further answers is not kept either, since it hangs on more than its key.
 *
 * @throws whatever `make` throws
 */
export async function storedTree<T extends WholeReading>(
  host: Pick<Host, 'store'>,
  key: TreeKey,
  make: () => Promise<T>,
): Promise<T | WholeReading> {
  const name = nameOf(key);
  const bytes = await host.store.readNamed('models', name);
  const kept = bytes && decodeTree(bytes, name);
  if (kept) return kept;
  const made = await make();
  // Where it cannot be kept, the next one takes longer, and nothing else is amiss.
  if (isSettled(made, key)) await keepTree(host, made, name).catch(() => undefined);
  return made;
}

/** A name that no other key has. */
function nameOf({ pack, request, answers }: TreeKey): string {
  const { arch, crossCompile = null, llvm = false } = request;
  const sorted = [...answers].sort(([a], [b]) => (a < b ? -1 : 1));
  const key = JSON.stringify([treeVersion, modelVersion, pack, arch, crossCompile, llvm, sorted]);
  return createHash('sha256').update(key).digest('hex');
}

/** Whether the reading follows from its key alone. */
function isSettled({ answers }: WholeReading, key: TreeKey): boolean {
  return [...answers].every(([command, answer]) => key.answers.get(command) === answer);
}

interface Facts {
  readonly make: MakeEnvironment;
  readonly diagnostics: readonly Diagnostic[];
  readonly sources: Pairs;
  readonly asked: readonly string[];
  readonly answers: Pairs;
}
type Pairs = readonly (readonly [string, string])[];

/** A tree with an error has no model, and is not kept. */
async function keepTree(
  { store }: Pick<Host, 'store'>,
  { make, parsed, answers }: WholeReading,
  name: string,
): Promise<void> {
  const { model, diagnostics, sources, asked } = parsed;
  if (!model) return;
  const facts: Facts = { make, diagnostics, sources: [...sources], asked, answers: [...answers] };
  const json = filledUp(JSON.stringify(facts));
  const rest = Buffer.concat([json, storeModel(model)]);
  const digest = createHash('sha256').update(rest).digest('hex');
  const head = filledUp(`quern-tree ${treeVersion} ${name} ${digest} ${json.length}`, '\n');
  await store.keepNamed('models', name, Buffer.concat([head, rest]));
}

/** The bytes of a text, with blanks and an end behind it that make them a multiple of four. */
function filledUp(text: string, end = ''): Buffer {
  const bytes = Buffer.from(text);
  return Buffer.concat([bytes, Buffer.from(' '.repeat(-(bytes.length + end.length) & 3) + end)]);
}

/** @returns `undefined` for what is no tree of this name, or is not as it was written */
function decodeTree(bytes: Buffer, name: string): WholeReading | undefined {
  const end = bytes.indexOf('\n') + 1;
  const head = /^quern-tree (\d{1,9}) ([0-9a-f]{64}) ([0-9a-f]{64}) (\d{1,9}) {0,3}\n$/.exec(
    bytes.toString('latin1', 0, Math.min(end, 256)),
  );
  const [, version, key, digest, length] = head ?? [];
  const rest = bytes.subarray(end);
  if (Number(version) !== treeVersion || key !== name) return undefined;
  if (createHash('sha256').update(rest).digest('hex') !== digest) return undefined;
  const facts = readFacts(rest.toString('utf8', 0, Number(length)));
  const model = restoreModel(rest.subarray(Number(length)));
  if (!facts || !model) return undefined;
  const { make, diagnostics, sources, asked, answers } = facts;
  return {
    kind: 'whole',
    make,
    parsed: { model, diagnostics, sources: new Map(sources), missing: [], asked, unset: [] },
    answers: new Map(answers),
  };
}

function readFacts(json: string): Facts | undefined {
  let value: unknown;
  try {
    value = JSON.parse(json);
  } catch {
    return undefined;
  }
  return isFacts(value) ? value : undefined;
}

function isFacts(value: unknown): value is Facts {
  return (
    isRecord(value) &&
    isMake(value['make']) &&
    isList(value['diagnostics'], isDiagnostic) &&
    isList(value['sources'], isPair) &&
    isList(value['asked'], isText) &&
    isList(value['answers'], isPair)
  );
}

function isMake(value: unknown): value is MakeEnvironment {
  return (
    isRecord(value) &&
    isRecord(value['variables']) &&
    isList(Object.values(value['variables']), isText) &&
    isText(value['sourceArch']) &&
    isText(value['kernelVersion']) &&
    isText(value['defconfig']) &&
    isList(value['missing'], isText) &&
    isList(value['asked'], isText)
  );
}

function isDiagnostic(value: unknown): value is Diagnostic {
  return (
    isRecord(value) &&
    isShown(value['code']) &&
    (value['severity'] === 'warning' || value['severity'] === 'note') &&
    Object.values<unknown>(exitCodes).includes(value['exit']) &&
    isShown(value['message']) &&
    (value['span'] === undefined || isSpan(value['span'])) &&
    isList(value['notes'], isShown) &&
    (value['help'] === undefined || isShown(value['help']))
  );
}

function isSpan(value: unknown): boolean {
  return isRecord(value) && isText(value['file']) && isOffset(value['start']) && isOffset(value['end']);
}

function isOffset(value: unknown): boolean {
  return Number.isSafeInteger(value) && Number(value) >= 0;
}

/** A text that goes to a terminal as it is. */
function isShown(value: unknown): value is string {
  return isText(value) && printable(value) === value;
}

function isPair(value: unknown): value is readonly [string, string] {
  return isList(value, isText) && value.length === 2;
}

function isList<T>(value: unknown, isItem: (item: unknown) => item is T): value is readonly T[] {
  return Array.isArray(value) && value.every((item) => isItem(item));
}

function isText(value: unknown): value is string {
  return typeof value === 'string';
}

function isRecord(value: unknown): value is Readonly<Record<string, unknown>> {
  return typeof value === 'object' && value !== null;
}
