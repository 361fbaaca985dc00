import type { EngineName } from '../container/engine-names.ts';

export { engineNames, type EngineName } from '../container/engine-names.ts';

/** What each command is asked for. Paths are as they were given: relative ones start at `Host.cwd`. */

interface SpecOptions {
  readonly spec: string;
  /** Where the lock is; `NAME.lock.json` beside the spec when absent. */
  readonly lock?: string;
}

interface EngineOptions {
  /** The container engine; the first that answers when absent. */
  readonly engine?: EngineName;
}

export type CheckOptions = SpecOptions;

export const refreshKinds = ['source', 'packages', 'answers', 'all'] as const;
export type RefreshKind = (typeof refreshKinds)[number];

export interface PinOptions extends SpecOptions, EngineOptions {
  /** Pinned anew although it is in the lock; what is missing is pinned in any case. */
  readonly refresh?: RefreshKind;
}

export interface KitOptions extends SpecOptions, EngineOptions {
  /** A folder that is new, empty, or an earlier kit of ours. */
  readonly output: string;
}

export interface BuildOptions extends SpecOptions, EngineOptions {
  /** A folder that is new, empty, or an earlier build of ours. */
  readonly output: string;
  /** How many compilers run at once; as many as there are processors when absent. */
  readonly jobs?: number;
  /** Leaves the build folder where it is, in the engine. */
  readonly keepTree: boolean;
  /** Opens a shell in the environment, on the tree as it is, when the build fails. */
  readonly shellOnFailure: boolean;
}

export interface VerifyOptions {
  /** A folder with artefacts and their record. */
  readonly folder: string;
}

export interface BootOptions {
  /** A folder with artefacts and their record. */
  readonly folder: string;
  /** Seconds that the kernel has to reach the end of the proof. */
  readonly timeout?: number;
  /** A statically linked busybox for the kernel's architecture; looked for on this machine when absent. */
  readonly busybox?: string;
  /** Names of the modules to load; all of them, if they are few, when absent. */
  readonly modules?: readonly string[];
}

/** Name of a command to its options. */
export interface OptionsOf {
  readonly check: CheckOptions;
  readonly pin: PinOptions;
  readonly kit: KitOptions;
  readonly build: BuildOptions;
  readonly verify: VerifyOptions;
  readonly boot: BootOptions;
}
