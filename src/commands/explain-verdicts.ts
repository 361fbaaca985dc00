import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import type { Verdict } from '../kconfig/verdict.ts';
import { commandCodes } from './codes.ts';
import type { Asked } from './requests.ts';

/** Every request that is not kept: the verdict first, the reason below it. */
export function explainVerdicts(verdicts: readonly Verdict[], asked?: Asked): readonly Diagnostic[] {
  return verdicts
    .filter(({ verdict }) => verdict !== 'kept')
    .map(({ verdict, option, requested, value, message, origin }) => {
      const span = asked?.spanOf(origin);
      return commandCodes.report('command/request-not-kept', {
        message: `${verdict} ${option} ${requested} → ${value ?? 'nothing'}`,
        ...(span && { span }),
        notes: [message],
      });
    });
}
