import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';

export type EnvironmentCode =
  | 'environment/bad-relation'
  | 'environment/no-such-package'
  | 'environment/unsatisfied'
  | 'environment/conflict';

export const environmentCodes: Catalogue<EnvironmentCode> = catalogue({
  'environment/bad-relation': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'A dependency in a package index cannot be read.',
  },
  'environment/no-such-package': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'A package that the environment was asked to have is not in the release.',
  },
  'environment/unsatisfied': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'A package of the environment needs something that the release cannot give.',
  },
  'environment/conflict': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'Two packages that the environment needs cannot be installed together.',
  },
});
