import { assertCanBoot, bootRecord, type BootProof } from '../boot/boot.ts';
import { exitOf } from '../diagnostics/diagnostic.ts';
import type { Host } from '../host/host.ts';
import type { CommandResult } from './command.ts';
import { openSpec } from './open-spec.ts';
import type { BootOptions, CheckOptions } from './options.ts';

/** `quern boot`: proves that the built kernel boots. */
export async function boot(options: BootOptions, host: Host): Promise<CommandResult<BootProof>> {
  const { folder, timeout, busybox, modules } = options;
  const { value, diagnostics } = await bootRecord(host, {
    folder,
    ...(timeout !== undefined && { timeoutSeconds: timeout }),
    ...(busybox !== undefined && { busybox }),
    ...(modules !== undefined && { modules }),
  });
  return { exit: exitOf(diagnostics), diagnostics, value, text: describeBoot(value) };
}

/**
 * Looks whether a kernel of this spec could be booted on this machine, for who is about to build it.
 *
 * @throws Failure with what is missing, or with what is wrong in the spec
 */
export async function assertBootable({ spec }: CheckOptions, host: Host): Promise<void> {
  await assertCanBoot(host, (await openSpec(host, spec)).spec.arch);
}

function describeBoot(proof: BootProof): string {
  const loaded = proof.modules.filter((module) => module.loaded).map(({ name }) => name);
  return [
    `${proof.verdict}: ${proof.release ?? 'the kernel said nothing of itself'}`,
    ...(proof.versionString === undefined ? [] : [`  build stamp    ${proof.versionString}`]),
    ...(proof.config === undefined ? [] : [`  configuration  ${proof.config}`]),
    ...(proof.modules.length === 0
      ? []
      : [`  modules        ${loaded.length} of ${proof.modules.length} loaded: ${loaded.join(', ')}`]),
    `  emulator       ${proof.emulator} (${proof.accelerator}), ${proof.seconds} s`,
  ].join('\n');
}
