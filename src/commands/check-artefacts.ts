import { lstat, readFile } from 'node:fs/promises';
import { join } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { digestFile } from '../host/digest-file.ts';
import { readX86Boot } from '../image/x86-boot.ts';
import { imageFile } from '../kit/artefacts.ts';
import { parseChecksums } from '../record/checksums.ts';
import { recordFiles } from '../record/record-files.ts';
import type { Answers } from '../spec/lock.ts';
import type { Spec } from '../spec/spec.ts';
import { commandCodes } from './codes.ts';

/** A file that a build leaves. */
export interface Artefact {
  readonly name: string;
  readonly sha256: string;
  /**
   * Bytes.
   *
   * @asType integer
   */
  readonly size: number;
}

/**
 * Looks at what a build has left: all there, as its checksums say, and the kernel that was computed before.
 *
 * @throws Failure `command/build-incomplete`, `command/kernel-differs`
 */
export async function checkArtefacts(
  folder: string,
  names: readonly string[],
  answers: Answers,
  spec: Spec,
): Promise<readonly Artefact[]> {
  const listed = parseChecksums(await readFile(join(folder, recordFiles.checksums), 'utf8'));
  const wrong: Diagnostic[] = [...listed.diagnostics];
  const artefacts: Artefact[] = [];
  for (const name of names) {
    const found = await lstat(join(folder, name)).catch(() => undefined);
    if (!found?.isFile()) {
      wrong.push(incomplete(`the build left no ${name}`));
      continue;
    }
    const sha256 = await digestFile(join(folder, name));
    artefacts.push({ name, sha256, size: found.size });
    if (listed.value.get(name) !== sha256)
      wrong.push(incomplete(`${name} is not what the build's checksums say`));
  }
  if (wrong.length === 0) wrong.push(...(await checkImage(folder, answers, spec)));
  if (wrong.length > 0) throw new Failure(wrong);
  return artefacts;
}

function incomplete(message: string): Diagnostic {
  return commandCodes.report('command/build-incomplete', {
    message,
    help: 'Build again; when it happens twice, the log tells more.',
  });
}

/** That of x86 says in its header what it is; of the others, the build has looked at what they are made of. */
async function checkImage(folder: string, answers: Answers, spec: Spec): Promise<readonly Diagnostic[]> {
  if (spec.arch !== 'x86_64' && spec.arch !== 'i386') return [];
  const { value, diagnostics } = readX86Boot(await readFile(join(folder, imageFile(spec.arch, '').name)));
  if (!value) return diagnostics;
  const expected = `${answers.kernelRelease} (${spec.build.user}@${spec.build.host}) ${answers.versionString}`;
  const text = value.kernelVersion?.text ?? '';
  if (text === expected) return [];
  return [
    commandCodes.report('command/kernel-differs', {
      message: 'the image says another release or build stamp than was computed before the build',
      notes: [`Computed: ${quoted(expected, 200)}.`, `The image says: ${quoted(text, 200)}.`],
      help: 'A patch may change how the kernel names itself; if that is meant, tell us.',
    }),
  ];
}
