import type { Command } from './command.ts';
import type { OptionsOf } from './options.ts';

/** Commands by their names. */
export type Commands = { readonly [Name in keyof OptionsOf]?: Command<OptionsOf[Name]> };

/** All that Quern can do. Each is loaded when it is called, so that `quern --version` need not wait for any of them. */
export const commands: Commands = {
  check: async (options, host) => (await import('./check.ts')).check(options, host),
  pin: async (options, host) => (await import('./pin.ts')).pin(options, host),
  kit: async (options, host) => (await import('./kit.ts')).kit(options, host),
  build: async (options, host) => (await import('./build.ts')).build(options, host),
  config: async (options, host) => (await import('./config.ts')).config(options, host),
  why: async (options, host) => (await import('./why.ts')).why(options, host),
  verify: async (options, host) => (await import('./verify.ts')).verify(options, host),
  boot: async (options, host) => (await import('./boot.ts')).boot(options, host),
};
