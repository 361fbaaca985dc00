import { lstat } from 'node:fs/promises';
import { join } from 'node:path';

import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { sourceCodes } from './codes.ts';

/**
 * What is to be said of a kernel tree in a folder whose file system takes names that differ in case alone for one: files
 * such as net/netfilter/xt_DSCP.c and xt_dscp.c have become one there. Nothing is written to find that out.
 *
 * @param folder with a Makefile
 */
export async function foldedCase(folder: string): Promise<readonly Diagnostic[]> {
  const [one, other] = await Promise.all(
    ['Makefile', 'mAKEFILE'].map((name) => lstat(join(folder, name)).catch(() => undefined)),
  );
  if (!one || one.ino !== other?.ino || one.dev !== other.dev) return [];
  return [
    sourceCodes.report('source/case-folded', {
      message: `${quoted(folder, 120)} lies on a file system that takes file names that differ in case alone for one`,
      notes: [
        'A kernel has such files (net/netfilter/xt_DSCP.c and xt_dscp.c): of each pair one is lost there.',
      ],
      help: 'Unpack the source on a file system that tells them apart, or name the archive in the place of the folder.',
    }),
  ];
}
