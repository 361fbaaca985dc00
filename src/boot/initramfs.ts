import { writeCpio } from '../archive/cpio.ts';
import { bootScript, places } from './boot-script.ts';

export interface InitramfsContent {
  /** A statically linked busybox. */
  readonly busybox: Uint8Array;
  /** Uncompressed modules, in the order in which they are to be loaded. */
  readonly modules: readonly { readonly name: string; readonly bytes: Uint8Array }[];
}

/** Builds the initial file system of the boot proof, uncompressed so that the kernel needs no decompressor for it. */
export function buildInitramfs({ busybox, modules }: InitramfsContent): Uint8Array {
  return writeCpio([
    ...['bin', 'dev', 'proc', 'sys', places.modules].map((path) => ({ kind: 'directory', path }) as const),
    // The kernel opens it for its first process, before anything could mount devtmpfs.
    { kind: 'character-device', path: 'dev/console', major: 5, minor: 1 },
    { kind: 'file', path: places.busybox, mode: 0o755, bytes: busybox },
    { kind: 'file', path: places.script, bytes: new TextEncoder().encode(bootScript) },
    ...modules.map(
      ({ name, bytes }, index) =>
        ({ kind: 'file', path: `${places.modules}/${moduleFile(name, index)}`, bytes }) as const,
    ),
  ]);
}

const longestShown = 64;

/**
 * What the file of a module is called within the initial file system: the shell there lists them in this order. The
 * name is for whoever reads the console; it comes from outside, and keeps letters, digits and underscores alone.
 */
export function moduleFile(name: string, index: number): string {
  const shown = name.replaceAll(/[^A-Za-z0-9_]/g, '_').slice(0, longestShown);
  return `${String(index).padStart(6, '0')}-${shown}.ko`;
}
