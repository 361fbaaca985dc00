/** What each command prints with `--json`. The JSON Schemas in `schemas/` are made of these types. */
import type { ValueOf } from '../commands/commands.ts';
import type { ExitCode } from '../diagnostics/diagnostic.ts';
import type { OutcomeJson } from './outcome.ts';

interface NamedJson<Name> extends OutcomeJson {
  /** The command that was called. */
  readonly command: Name;
}

/** The command could not go on: the diagnostics say why. */
interface RefusalJson<Name> extends NamedJson<Name> {
  readonly exit: Exclude<ExitCode, 0>;
  /** With `--debug`: the error, with its stack and its causes. */
  readonly trace?: string;
}

/** The command was asked what it does. */
interface HelpJson<Name> extends NamedJson<Name> {
  readonly exit: 0;
  /** What `--help` prints. */
  readonly help: string;
}

/** The command did its work, also where the answer is no. */
type AnswerJson<Name extends keyof ValueOf> = NamedJson<Name> & ValueOf[Name];

type CommandJson<Name extends keyof ValueOf> = AnswerJson<Name> | RefusalJson<Name> | HelpJson<Name>;

/** What `quern new --json` prints. */
export type NewJson = CommandJson<'new'>;

/** What `quern check --json` prints. */
export type CheckJson = CommandJson<'check'>;

/** What `quern pin --json` prints. */
export type PinJson = CommandJson<'pin'>;

/** What `quern kit --json` prints. */
export type KitJson = CommandJson<'kit'>;

/** What `quern keep --json` prints. */
export type KeepJson = CommandJson<'keep'>;

/** What `quern environment --json` prints. */
export type EnvironmentJson = CommandJson<'environment'>;

/** What `quern build --json` prints. */
export type BuildJson = CommandJson<'build'>;

/** What `quern config --json` prints. */
export type ConfigJson = CommandJson<'config'>;

/** What `quern why --json` prints. */
export type WhyJson = CommandJson<'why'>;

/** What `quern verify --json` prints. */
export type VerifyJson = CommandJson<'verify'>;

/** What `quern boot --json` prints. */
export type BootJson = CommandJson<'boot'>;

/** What `quern store --json` prints. */
export type StoreJson = CommandJson<'store'>;
