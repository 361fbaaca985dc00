import type { Host } from '../host/host.ts';
import { formatBytes } from '../host/quantities.ts';
import { namedKinds, type StoreEntry } from '../host/store.ts';
import type { CommandResult } from './command.ts';
import type { StoreOptions } from './options.ts';

/** How much there is of something. */
export interface StoreAmount {
  /** @asType integer */
  readonly files: number;
  /** @asType integer */
  readonly bytes: number;
}

export interface StoreValue {
  readonly folder: string;
  /** Sources, packages, packs and configurations, by their digests. */
  readonly inputs: StoreAmount;
  /** Which pack belongs to a source. */
  readonly packs: StoreAmount;
  /** Kconfig files that were read, for the next time. */
  readonly models: StoreAmount;
  /** How many files builds have compiled. */
  readonly compiled: StoreAmount;
  /** Which file of the inputs a tar came as, or a URL brought. */
  readonly fetched: StoreAmount;
  /** What processes that were killed have left. */
  readonly leftovers: StoreAmount;
  /** What was removed just now. */
  readonly removed: StoreAmount;
}

const kinds = ['inputs', ...namedKinds, 'leftovers'] as const;
const millisecondsOfADay = 24 * 3600 * 1000;

/** `quern store`: how large the store is; with `clean`, without what nobody has used for some time. */
export async function store(options: StoreOptions, host: Host): Promise<CommandResult<StoreValue>> {
  const before = await host.store.entries();
  const since = host.now().getTime() - options.unused * millisecondsOfADay;
  const goes = ({ kind, used }: StoreEntry): boolean =>
    options.clean && (kind === 'leftovers' || used <= since);
  const removed = before.filter(goes);
  for (const entry of removed) {
    host.signal.throwIfAborted();
    await host.store.remove(entry);
  }
  const left = before.filter((entry) => !goes(entry));
  const of = (kind: StoreEntry['kind']): StoreAmount => amountOf(left.filter((entry) => entry.kind === kind));
  const value = {
    folder: host.store.folder,
    inputs: of('inputs'),
    packs: of('packs'),
    models: of('models'),
    compiled: of('compiled'),
    fetched: of('fetched'),
    leftovers: of('leftovers'),
    removed: amountOf(removed),
  };
  return { exit: 0, diagnostics: [], value, text: describe(value, options.clean) };
}

function amountOf(entries: readonly StoreEntry[]): StoreAmount {
  return { files: entries.length, bytes: entries.reduce((sum, { size }) => sum + size, 0) };
}

function describe(value: StoreValue, cleaned: boolean): string {
  const rows = kinds.map((kind) => [kind, value[kind]] as const).filter(([, { files }]) => files > 0);
  const total = rows.reduce((sum, [, { bytes }]) => sum + bytes, 0);
  const line = (name: string, { files, bytes }: StoreAmount): string =>
    `  ${name.padEnd(10)} ${formatBytes(bytes).padStart(7)} in ${files} ${files === 1 ? 'file' : 'files'}`;
  return [
    `the store ${value.folder} has ${formatBytes(total)}`,
    ...rows.map(([name, amount]) => line(name, amount)),
    ...(cleaned ? [line('removed', value.removed)] : []),
  ].join('\n');
}
