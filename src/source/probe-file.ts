/** Answers kept in a file: `--save-probes FILE`, `--probes FILE`. */
import { readFile } from 'node:fs/promises';
import * as z from 'zod';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { wordsOf } from '../diagnostics/system-words.ts';
import { writeNamed } from '../host/output-folder.ts';
import { packCodes } from '../kconfig/pack-codes.ts';

export interface SavedProbes {
  /** As on make's command line. */
  readonly arch: string;
  readonly kernelVersion: string;
  /** Command line to what it printed, as `$(shell …)` has it; the tree is `.`. */
  readonly answers: ReadonlyMap<string, string>;
}

/** Latin1 without a zero byte: what a shell can be given, and can say. */
const text = z.string().regex(/^[\x01-\xff]*$/, { error: 'a text here has bytes only, one character each' });

const schema = z.strictObject({
  probes: z.literal(1),
  arch: z.string().regex(/^\w{1,32}$/, { error: 'an architecture is one word, as on make’s command line' }),
  kernelVersion: z.string().max(64),
  answers: z.record(text.min(1), text),
});

/** The file's text: one answer a line, sorted by command, so that two of them can be compared. */
export function formatProbes({ arch, kernelVersion, answers }: SavedProbes): string {
  const sorted = [...answers].sort(([a], [b]) => (a < b ? -1 : 1));
  const file = { probes: 1, arch, kernelVersion, answers: Object.fromEntries(sorted) };
  return `${JSON.stringify(file, undefined, 2)}\n`;
}

/** @throws Failure `host/output-not-writable` */
export async function saveProbes(path: string, probes: SavedProbes): Promise<void> {
  await writeNamed(path, formatProbes(probes), []);
}

/** @throws Failure `kconfig/no-probe-file`, `kconfig/bad-probe-file` */
export async function loadProbes(path: string): Promise<SavedProbes> {
  const content = await readFile(path, 'utf8').catch((error: NodeJS.ErrnoException) => {
    throw new Failure(
      packCodes.report('kconfig/no-probe-file', {
        message: `${quoted(path, 120)} cannot be read: ${wordsOf(error)}`,
        help: 'Name a file that --save-probes has written.',
      }),
      { cause: error },
    );
  });
  let data: unknown;
  try {
    data = JSON.parse(content);
  } catch (error) {
    throw unreadable(path, wordsOf(error), error);
  }
  const read = schema.safeParse(data);
  if (!read.success) {
    const [issue] = read.error.issues;
    const where = issue && issue.path.length > 0 ? `${issue.path.map(String).join(' / ')}: ` : '';
    throw unreadable(path, `${where}${issue?.message ?? ''}`, read.error);
  }
  const { arch, kernelVersion, answers } = read.data;
  return { arch, kernelVersion, answers: new Map(Object.entries(answers)) };
}

function unreadable(path: string, why: string, cause: unknown): Failure {
  return new Failure(
    packCodes.report('kconfig/bad-probe-file', {
      message: `${quoted(path, 120)} cannot be used as a file of probes`,
      notes: [`${why}.`],
      help: 'Write one with quern config --probe-host --save-probes FILE.',
    }),
    { cause },
  );
}
