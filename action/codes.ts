import { catalogue, type Catalogue } from '../src/diagnostics/catalogue.ts';
import { exitCodes } from '../src/diagnostics/diagnostic.ts';

export type ActionCode =
  | 'action/missing-input'
  | 'action/unknown-input'
  | 'action/bad-input'
  | 'action/host-probing'
  | 'action/no-artifact-service'
  | 'action/artifact-failed';

const usage = { severity: 'error', exit: exitCodes.usage } as const;

/** What can be wrong with the step of a workflow, and with what a runner provides. */
export const actionCodes: Catalogue<ActionCode> = catalogue({
  'action/missing-input': { ...usage, summary: 'The step lacks an input that it needs.' },
  'action/unknown-input': { ...usage, summary: 'The step has an input that there is not.' },
  'action/bad-input': { ...usage, summary: 'The value of an input is none that it takes.' },
  'action/host-probing': {
    ...usage,
    summary: 'The step asks for programs of a source tree to be run on the runner.',
  },
  'action/no-artifact-service': {
    severity: 'note',
    exit: exitCodes.ok,
    summary: 'The runner offers no place for artifacts to this step.',
  },
  'action/artifact-failed': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: 'The artifact service did not take what was built.',
  },
});
