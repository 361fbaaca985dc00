import type { BootProof } from '../boot/boot.ts';
import type { Explanation } from '../kconfig/explain-option.ts';
import type { BuildValue } from './build.ts';
import type { CheckValue } from './check.ts';
import type { Command } from './command.ts';
import type { ConfigValue } from './config.ts';
import type { EnvironmentValue } from './environment.ts';
import type { KeepValue } from './keep.ts';
import type { KitValue } from './kit.ts';
import type { NewValue } from './new.ts';
import type { OptionsOf } from './options.ts';
import type { PinValue } from './pin.ts';
import type { StoreValue } from './store.ts';
import type { VerifyValue } from './verify.ts';

/** Commands by their names. */
export type Commands = { readonly [Name in keyof OptionsOf]?: Command<OptionsOf[Name]> };

/** Name of a command to what it answers with. */
export interface ValueOf {
  readonly new: NewValue;
  readonly check: CheckValue;
  readonly pin: PinValue;
  readonly kit: KitValue;
  readonly keep: KeepValue;
  readonly environment: EnvironmentValue;
  readonly build: BuildValue;
  readonly config: ConfigValue;
  readonly why: Explanation;
  readonly verify: VerifyValue;
  readonly boot: BootProof;
  readonly store: StoreValue;
}

type AllCommands = { readonly [Name in keyof OptionsOf]: Command<OptionsOf[Name], ValueOf[Name]> };

/** All that Quern can do. Each is loaded when it is called, so that `quern --version` need not wait for any of them. */
export const commands: AllCommands = {
  new: async (options, host) => (await import('./new.ts')).newSpec(options, host),
  check: async (options, host) => (await import('./check.ts')).check(options, host),
  pin: async (options, host) => (await import('./pin.ts')).pin(options, host),
  kit: async (options, host) => (await import('./kit.ts')).kit(options, host),
  keep: async (options, host) => (await import('./keep.ts')).keep(options, host),
  environment: async (options, host) => (await import('./environment.ts')).environment(options, host),
  build: async (options, host) => (await import('./build.ts')).build(options, host),
  config: async (options, host) => (await import('./config.ts')).config(options, host),
  why: async (options, host) => (await import('./why.ts')).why(options, host),
  verify: async (options, host) => (await import('./verify.ts')).verify(options, host),
  boot: async (options, host) => (await import('./boot.ts')).boot(options, host),
  store: async (options, host) => (await import('./store.ts')).store(options, host),
};
