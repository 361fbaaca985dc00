import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Inputs } from '../spec/lock.ts';
import { commandCodes } from './codes.ts';
import type { LocalFiles } from './spec-files.ts';

/** Names every file beside the spec that is no longer the one that was pinned. */
export function changedFiles(files: LocalFiles, inputs: Inputs): readonly Diagnostic[] {
  const here = [...(files.base ? [files.base] : []), ...files.fragments, ...files.patches];
  const pins = new Map(
    [...(inputs.base ? [inputs.base] : []), ...inputs.fragments, ...inputs.patches].map((pin) => [
      pin.path,
      pin.sha256,
    ]),
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

/** @throws Failure `command/file-changed` */
export function assertPinned(files: LocalFiles, inputs: Inputs, sources: ReadonlyMap<string, string>): void {
  const changed = changedFiles(files, inputs);
  if (changed.length > 0) throw new Failure(changed, { sources });
}
