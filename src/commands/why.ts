import { exitCodes } from '../diagnostics/diagnostic.ts';
import type { Host } from '../host/host.ts';
import { explainOption, explainValue, type Explanation } from '../kconfig/explain-option.ts';
import { explanationText } from '../kconfig/explanation-text.ts';
import type { CommandResult } from './command.ts';
import type { WhyOptions } from './options.ts';
import { configureSpecFile } from './spec-tree.ts';

/** `quern why`: the chain of reasons for one option's value, or for a value that it might be given: no when that would be lost. */
export async function why(options: WhyOptions, host: Host): Promise<CommandResult<Explanation>> {
  const { made, diagnostics, sources } = await configureSpecFile(options, host);
  const { explain, base } = made;
  const { option, value } = options.asked;
  const explanation =
    value === undefined
      ? explainOption(explain, option)
      : explainValue(explain, base, option, value, { file: 'the command line' });
  const lost = value !== undefined && explanation.verdict?.verdict !== 'kept';
  return {
    exit: lost ? exitCodes.no : exitCodes.ok,
    diagnostics,
    value: explanation,
    text: explanationText(explanation),
    sources,
  };
}
