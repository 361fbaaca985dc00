import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { placeText } from '../kconfig/requests.ts';
import type { Verdict } from '../kconfig/verdict.ts';
import { commandCodes } from './codes.ts';
import type { Asked } from './requests.ts';

/**
 * Every request that is not kept: the verdict first, the reason below it. The tree's own fragments ask for what other
 * architectures and bases have as well: that such a request is lost is a warning.
 */
export function explainVerdicts(verdicts: readonly Verdict[], asked?: Asked): readonly Diagnostic[] {
  return verdicts
    .filter(({ verdict }) => verdict !== 'kept')
    .map(({ verdict, option, requested, value, message, origin }) => {
      const span = asked?.spanOf(origin);
      const ofTree = asked?.isOfTree(origin) === true;
      return commandCodes.report(ofTree ? 'command/tree-request-not-kept' : 'command/request-not-kept', {
        message: `${verdict} ${option} ${requested} → ${value ?? 'nothing'}`,
        ...(span && { span }),
        notes: ofTree ? [message, `${placeText(origin)} asks for it.`] : [message],
      });
    });
}
