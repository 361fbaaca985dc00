/** The library's door. */
export type {
  BootJson,
  BuildJson,
  CheckJson,
  ConfigJson,
  EnvironmentJson,
  KeepJson,
  KitJson,
  NewJson,
  PinJson,
  StoreJson,
  VerifyJson,
  WhyJson,
} from './cli/command-json.ts';
export type { Command, CommandResult } from './commands/command.ts';
export { commands, type Commands } from './commands/commands.ts';
export type {
  BootOptions,
  BuildOptions,
  CheckOptions,
  Engine,
  EnvironmentOptions,
  KeepOptions,
  KitOptions,
  PinOptions,
  RefreshKind,
  VerifyOptions,
} from './commands/options.ts';
export { Failure } from './diagnostics/catalogue.ts';
export {
  exitCodes,
  exitOf,
  type Diagnostic,
  type ExitCode,
  type Severity,
  type Span,
} from './diagnostics/diagnostic.ts';
export { formatText } from './diagnostics/format-text.ts';
export { toJson, type DiagnosticJson } from './diagnostics/to-json.ts';
export type { Host } from './host/host.ts';
export { Interrupted } from './host/interrupt.ts';
export type { Progress } from './host/progress.ts';
