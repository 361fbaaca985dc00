import { architectureNames } from '../spec/machine-names.ts';
import { engineNames, type EngineName } from '../container/engine-names.ts';

/** What each command is asked for. Paths are as they were given: relative ones start at `Host.cwd`. */

interface SpecOptions {
  readonly spec: string;
  /** Where the lock is; `NAME.lock.json` beside the spec when absent. */
  readonly lock?: string;
}

/** The container engines that may be named. */
export const engines: readonly EngineName[] = engineNames;
export type Engine = EngineName;

interface EngineOptions {
  /** The container engine; the first that answers when absent. */
  readonly engine?: Engine;
}

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

export interface KeepOptions extends SpecOptions, EngineOptions {
  /** A folder that is new, empty, or made by an earlier run. */
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

/** Where answers to a tree's `$(shell …)` come from; those that Quern brings along when none is named. */
export interface ProbeOptions {
  /** A file of answers. */
  readonly probes?: string;
  /** Runs the tree's questions on this machine. */
  readonly probeHost: boolean;
  /** Where to keep what this machine answers. */
  readonly saveProbes?: string;
}

/** One option value, as on the command line. */
export interface AskedOption {
  /** Without the `CONFIG_` prefix. */
  readonly option: string;
  /** In latin1, as it stands behind `CONFIG_X=` in a `.config`. */
  readonly value: string;
}

export interface CheckOptions extends SpecOptions, ProbeOptions {}

export interface SpecConfigOptions extends SpecOptions, ProbeOptions {
  /** A file for the configuration. */
  readonly output?: string;
}

export interface TreeConfigOptions extends ProbeOptions {
  readonly spec?: undefined;
  /** Folder of a kernel tree. */
  readonly tree: string;
  /** As on make's command line. */
  readonly arch: string;
  /** A `.config`, or a configuration of the tree; `defconfig` when absent. */
  readonly base?: string;
  readonly set: readonly AskedOption[];
  readonly output?: string;
}

export type ConfigOptions = SpecConfigOptions | TreeConfigOptions;

export interface WhyOptions extends SpecOptions, ProbeOptions {
  readonly asked: { readonly option: string; readonly value?: string };
}

export interface EnvironmentOptions extends SpecOptions, EngineOptions {
  /** What is done with it beside making it: kept in a file, or taken from one. */
  readonly file?:
    | { readonly kind: 'save'; readonly path: string }
    | { readonly kind: 'load'; readonly path: string; readonly sha256: string };
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

/** How the kernel's architecture may be named. */
export const kernelArchitectures: readonly string[] = architectureNames;

export interface NewOptions {
  /** What the kernel is to be called. */
  readonly name: string;
  /** A series or an exact version; that of the configuration, else the usual one, when absent. */
  readonly kernel?: string;
  /** One of `kernelArchitectures`. */
  readonly arch?: string;
  /** A configuration of the tree, or a path; `defconfig` when absent. */
  readonly base?: string;
  /** A `.config` to begin with. */
  readonly config?: string;
  /** Begins with the configuration of this machine's kernel. */
  readonly running: boolean;
  /** Folder for the files; the current one when absent. */
  readonly output?: string;
}

export interface StoreOptions {
  /** Removes what processes that were killed have left, and what nobody has used for some time. */
  readonly clean: boolean;
  /** Days without use after which a file goes; 0 is everything. */
  readonly unused: number;
}

/** Name of a command to its options. */
export interface OptionsOf {
  readonly new: NewOptions;
  readonly check: CheckOptions;
  readonly pin: PinOptions;
  readonly kit: KitOptions;
  readonly keep: KeepOptions;
  readonly environment: EnvironmentOptions;
  readonly build: BuildOptions;
  readonly config: ConfigOptions;
  readonly why: WhyOptions;
  readonly verify: VerifyOptions;
  readonly boot: BootOptions;
  readonly store: StoreOptions;
}
