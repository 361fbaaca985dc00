import type { Progress } from './progress.ts';
import { formatBytes, formatDuration } from './quantities.ts';

export type ProgressUnit = Parameters<Progress['advance']>[2];

/** One stage of long work, as far as it is known. */
export interface Stage {
  readonly name: string;
  /** Milliseconds on the clock that is asked later on. */
  readonly began: number;
  readonly done: number;
  readonly total: number | undefined;
  readonly unit: ProgressUnit;
}

export function newStage(name: string, began: number): Stage {
  return { name, began, done: 0, total: undefined, unit: 'files' };
}

/** Between 0 and 1; `undefined` when the total is not known, or was an estimate that has proved too low. */
export function shareOf({ done, total }: Stage): number | undefined {
  return total === undefined || total <= 0 || done > total ? undefined : done / total;
}

/** `45 of 159 files`, `12 MB`; empty when nothing was counted. */
export function countOf(stage: Stage): string {
  const { done, total, unit } = stage;
  if (done === 0 && total === undefined) return '';
  const one = (value: number): string => (unit === 'bytes' ? formatBytes(value) : String(value));
  const known = shareOf(stage) !== undefined && total !== undefined && done !== total;
  const count = known ? `${one(done)} of ${one(total)}` : one(done);
  return unit === 'files' ? `${count} ${!known && done === 1 ? 'file' : 'files'}` : count;
}

/** The stage in one line that stays: `fetching packages: 45 of 159 files, 0:08`. */
export function describeStage(stage: Stage, now: number): string {
  const parts = [countOf(stage), formatDuration(now - stage.began)];
  return `${stage.name}: ${parts.filter((part) => part !== '').join(', ')}`;
}
