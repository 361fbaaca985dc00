import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { placeText } from '../kconfig/requests.ts';
import type { Verdict } from '../kconfig/verdict.ts';
import { commandCodes } from './codes.ts';
import type { Asked } from './requests.ts';

/**
 * Every request that is not kept: the verdict first, the reason below it. The tree's own fragments ask for what other
 * architectures and bases have as well: that such a request is lost is a warning.
 *
 * @param advise what to do about one, where that is known
 */
export function explainVerdicts(
  verdicts: readonly Verdict[],
  asked?: Asked,
  advise: (verdict: Verdict) => string | undefined = () => undefined,
): readonly Diagnostic[] {
  return verdicts
    .filter(({ verdict }) => verdict !== 'kept')
    .map((one) => {
      const { verdict, option, requested, value, message, origin } = one;
      const span = asked?.spanOf(origin);
      const ofTree = asked?.isOfTree(origin) === true;
      return commandCodes.report(ofTree ? 'command/tree-request-not-kept' : 'command/request-not-kept', {
        message: `${verdict} ${option} ${requested} → ${value ?? 'nothing'}`,
        ...(span && { span }),
        notes: ofTree ? [message, `${placeText(origin)} asks for it.`] : [message],
        help: advise(one),
      });
    });
}
