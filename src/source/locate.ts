import type { Host } from '../host/host.ts';
import type { SourcePin } from '../spec/lock.ts';

/** Where a path that the spec names really is, absolute; rejects when it may not be read. */
export type Locate = (path: string, kind: 'file' | 'folder') => Promise<string>;

/** A source on this machine. */
export type LocalPin = Extract<SourcePin, { readonly kind: 'tarball' | 'tree' }>;

/**
 * Where a source on this machine is; nothing when it is gone and the store has it.
 * @throws Failure what `locate` throws
 */
export async function findLocalSource(
  host: Host,
  pin: LocalPin,
  locate: Locate,
): Promise<string | undefined> {
  return locate(pin.path, pin.kind === 'tree' ? 'folder' : 'file').catch(async (error: unknown) => {
    if (await host.store.has(pin.sha256)) return undefined;
    throw error;
  });
}
