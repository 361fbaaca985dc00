/**
 * What a kernel module says of itself: the NUL-separated `key=value` texts of its `.modinfo` section.
 * Source: include/linux/moduleparam.h (`__MODULE_INFO`) and scripts/mod/modpost.c (`depends`, `vermagic`).
 */
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { imageCodes } from './codes.ts';
import { readElf } from './elf.ts';

export interface ModuleInfo {
  /** As the kernel calls it: `-` is written `_`. Absent in modules older than Linux 4.10. */
  readonly name?: string;
  /** Names of the modules that must be loaded before it. */
  readonly depends: readonly string[];
  /** The kernel release and switches it was built for. */
  readonly vermagic?: string;
  readonly license?: string;
}

export interface ModuleInfoReading {
  readonly value?: ModuleInfo;
  readonly diagnostics: readonly Diagnostic[];
}

/** Reads an uncompressed `.ko` file, signed or not; reports `image/not-elf` and `image/not-module`. */
export function readModuleInfo(bytes: Uint8Array): ModuleInfoReading {
  const elf = readElf(bytes);
  if (!elf.value) return { diagnostics: elf.diagnostics };
  const section = elf.value.sections.find((one) => one.name === '.modinfo');
  if (!section) {
    return {
      diagnostics: [
        imageCodes.report('image/not-module', {
          message: 'this is not a kernel module: it has no .modinfo section',
        }),
      ],
    };
  }
  const texts = new TextDecoder('latin1')
    .decode(bytes.subarray(section.offset, section.offset + section.length))
    .split('\0');
  const find = (key: string): string | undefined =>
    texts.find((text) => text.startsWith(`${key}=`))?.slice(key.length + 1);
  const name = find('name');
  const vermagic = find('vermagic');
  const license = find('license');
  return {
    value: {
      ...(name !== undefined && { name }),
      depends: (find('depends') ?? '').split(',').filter((one) => one !== ''),
      ...(vermagic !== undefined && { vermagic }),
      ...(license !== undefined && { license }),
    },
    diagnostics: [],
  };
}
