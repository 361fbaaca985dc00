import type { Host } from '../host/host.ts';

/**
 * How many files a build with a configuration compiled, kept in the store so that the next one can show how much is
 * still to do. It is worth no more than that: when it cannot be kept or read, there is no bar.
 *
 * @param config SHA-256 of the resolved configuration
 */
export async function readCompiledFiles(host: Host, config: string): Promise<number | undefined> {
  const text = (await host.store.readNamed('compiled', config))?.toString('latin1') ?? '';
  return /^\d{1,7}\n$/u.test(text) ? Number(text) : undefined;
}

export async function keepCompiledFiles(host: Host, config: string, files: number): Promise<void> {
  await host.store.keepNamed('compiled', config, `${files}\n`).catch(() => undefined);
}
