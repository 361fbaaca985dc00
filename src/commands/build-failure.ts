import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';

/** A step of the kit failed, and something is left of it. */
export class BuildFailure extends Failure {
  /** Holds the kit and, when it came far enough for one, the log; it lies beside the output that there is not. */
  readonly folder: string;

  constructor(
    diagnostics: readonly Diagnostic[],
    folder: string,
    options?: ConstructorParameters<typeof Failure>[1],
  ) {
    super(diagnostics, options);
    this.name = 'BuildFailure';
    this.folder = folder;
  }
}
