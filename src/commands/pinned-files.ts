import { isDeepStrictEqual } from 'node:util';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { isPackaged, type Inputs, type PatchPin } from '../spec/lock.ts';
import { patchText } from '../spec/patch-text.ts';
import { commandCodes } from './codes.ts';
import type { LocalFiles, LocalPatch } from './spec-files.ts';

/** Names every file beside the spec that is no longer the one that was pinned. */
export function changedFiles(files: LocalFiles, inputs: Inputs): readonly Diagnostic[] {
  const here = [...(files.base ? [files.base] : []), ...files.fragments, ...files.patches];
  const pins = new Map(
    [
      ...(inputs.base && !isPackaged(inputs.base) ? [inputs.base] : []),
      ...inputs.fragments,
      ...inputs.patches,
    ].map((pin) => [pin.path, pin.sha256]),
  );
  return (
    here
      // that the spec names other files than the lock is said of the spec
      .filter(({ path, sha256 }) => pins.has(path) && pins.get(path) !== sha256)
      .map(({ path, sha256, span }) =>
        commandCodes.report('command/file-changed', {
          message: `${quoted(path)} is no longer the file that was pinned`,
          span,
          notes: [`The lock has ${pins.get(path) ?? ''}, the file ${sha256}.`],
          help: 'If the change is meant, pin again (quern pin); else bring back the file as it was.',
        }),
      )
  );
}

/** Names what a pattern or a series of the spec no longer stands for, or stands for now. */
export function changedPatches({ patches }: LocalFiles, inputs: Inputs): readonly Diagnostic[] {
  const now = patches.map((patch) => patchText(pinPatch(patch)));
  const pinned = inputs.patches.map((pin) => patchText(pin));
  if (isDeepStrictEqual(now, pinned)) return [];
  const notes = [
    ...now.filter((one) => !pinned.includes(one)).map((one) => `${quoted(one, 120)} has come.`),
    ...pinned.filter((one) => !now.includes(one)).map((one) => `${quoted(one, 120)} has gone.`),
  ];
  return [
    commandCodes.report('command/file-changed', {
      message: 'the patches are no longer those that were pinned',
      span: patches[0]?.span,
      notes: notes.length > 0 ? notes : ['They come in another order.'],
      help: 'If the change is meant, pin again (quern pin); else bring back the patches as they were.',
    }),
  ];
}

/** How the lock has a patch: with how it is applied, where that is not as usual. */
export function pinPatch({ path, sha256, strip, reverse, fuzz }: LocalPatch): PatchPin {
  return {
    path,
    sha256,
    ...(strip !== 1 && { strip }),
    ...(fuzz !== 0 && { fuzz }),
    ...(reverse && { reverse }),
  };
}

/** @throws Failure `command/file-changed` */
export function assertPinned(files: LocalFiles, inputs: Inputs, sources: ReadonlyMap<string, string>): void {
  const changed = [...changedFiles(files, inputs), ...changedPatches(files, inputs)];
  if (changed.length > 0) throw new Failure(changed, { sources });
}
