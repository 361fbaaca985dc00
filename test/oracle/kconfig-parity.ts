/**
 * One question put to the kernel's own program and to our engine: are the `.config`, the minimal defconfig and the
 * complaints the same?
 */
import { configure, saveDefconfig, type ConfigMode } from '../../src/kconfig/configure.ts';
import type { Model } from '../../src/kconfig/model.ts';
import type { ConfigWarning, ConfigWarningKind } from '../../src/kconfig/read-config.ts';
import type { ConfJob, ConfResult } from './conf-run.ts';

/** Texts are latin1. */
export interface ParityCase {
  readonly name: string;
  readonly mode: ConfigMode;
  /** What the mode starts from: the `.config`, the defconfig, or the preset; without it the mode has none. */
  readonly text?: string;
  /** Also what `savedefconfig` makes of the text itself, instead of what it makes of the result. */
  readonly saveText?: boolean;
}

/** What answers as conf does. */
export type Referee = (job: ConfJob) => Promise<ConfResult>;

/** Sentences, none of them when all is equal. */
export async function differences(
  one: ParityCase,
  referee: Referee,
  model: Model,
): Promise<readonly string[]> {
  const theirs = await referee(jobOf(one));
  const saved = (one.saveText === true ? one.text : undefined) ?? theirs.config;
  const theirSaved = await referee({ mode: 'savedefconfig', config: saved });
  const ours = configure(model, one.mode, one.text ?? (one.mode === 'olddefconfig' ? '' : undefined));
  return [
    ...failed(theirs),
    ...failed(theirSaved),
    ...textDifference('.config', theirs.config, ours.text),
    ...textDifference('minimal defconfig', theirSaved.config, saveDefconfig(model, saved)),
    ...textDifference('complaints', theirComplaints(theirs.stderr), ourComplaints(ours.warnings)),
    ...textDifference(
      'unmet dependencies',
      theirUnmet(theirs.stderr),
      listed(ours.evaluation.unmet.map(({ name }) => name)),
    ),
  ].map((sentence) => `${one.name}: ${sentence}`);
}

function jobOf({ mode, text }: ParityCase): ConfJob {
  switch (mode) {
    case 'olddefconfig':
      return { mode, config: text ?? '' };
    case 'defconfig':
      return { mode, defconfig: text ?? '' };
    default:
      return text === undefined ? { mode } : { mode, preset: text };
  }
}

function failed({ status, stderr }: ConfResult): readonly string[] {
  return status === 0 ? [] : [`conf ended with ${status}: ${stderr}`];
}

/** The first lines that are not the same. */
function textDifference(what: string, theirs: string, ours: string): readonly string[] {
  if (theirs === ours) return [];
  const [wanted, got] = [theirs.split('\n'), ours.split('\n')];
  const first = wanted.findIndex((line, index) => line !== got[index]);
  const at = first < 0 ? wanted.length : first;
  const excerpt = (lines: readonly string[]): string => JSON.stringify(lines.slice(at, at + 3));
  return [`${what}, line ${at + 1}: conf has ${excerpt(wanted)}, we have ${excerpt(got)}`];
}

/** What conf says of a line of the file that it reads; of an unknown name it says nothing. */
const sentences: readonly (readonly [RegExp, ConfigWarningKind])[] = [
  [/^symbol value '.*' invalid for /su, 'invalid'],
  [/^override: reassigning to symbol /u, 'again'],
  [/^override: .* changes choice state$/u, 'choice-again'],
  [/^.* creates inconsistent choice state$/u, 'choice-mixed'],
  [/^unexpected data: /su, 'unexpected'],
  [/^invalid string found$/u, 'open-string'],
];

/** Of the files that a job lays out; of Kconfig files there are complaints as well. */
function theirComplaints(stderr: string): string {
  const found: string[] = [];
  const pattern = /^(?:\.config|[\w./-]*defconfig|preset\.config):(\d+):warning: ([^\n]*)$/gmu;
  for (const [, line = '', text = ''] of stderr.matchAll(pattern)) {
    const kind = sentences.find(([sentence]) => sentence.test(text))?.[1];
    found.push(`${line} ${kind ?? text}`);
  }
  return listed(found);
}

function ourComplaints(warnings: readonly ConfigWarning[]): string {
  return listed(warnings.filter(({ kind }) => kind !== 'unknown').map(({ line, kind }) => `${line} ${kind}`));
}

function theirUnmet(stderr: string): string {
  return listed(
    [...stderr.matchAll(/^WARNING: unmet direct dependencies detected for (\w+)$/gmu)].map(
      ([, name = '']) => name,
    ),
  );
}

function listed(items: readonly string[]): string {
  return [...new Set(items)].sort().join('\n');
}
