import { readFile } from 'node:fs/promises';
import { delimiter, join } from 'node:path';
import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import { elfMachineX86_64, readElf } from '../image/elf.ts';
import type { Architecture } from '../spec/spec.ts';
import { bootCodes } from './codes.ts';

const elfMachines: Readonly<Record<Architecture, number>> = { x86_64: elfMachineX86_64 };

const howToGet =
  'Install a statically linked busybox (Debian, Ubuntu: apt install busybox-static), or name one with --busybox.';

/** Where distributions put it, for those whose PATH lacks the folder. */
const usualFolders = ['/bin', '/usr/bin', '/sbin', '/usr/sbin'];

/**
 * Reads the busybox that runs inside the booted kernel: the named one, else the first in PATH that is fit.
 *
 * @throws Failure `boot/no-busybox`, `boot/busybox-unfit`
 */
export async function readBusybox(host: Host, arch: Architecture, named?: string): Promise<Uint8Array> {
  const folders = [...(host.env['PATH'] ?? '').split(delimiter).filter((one) => one !== ''), ...usualFolders];
  const paths =
    named === undefined ? [...new Set(folders.map((folder) => join(folder, 'busybox')))] : [named];
  const unfit: Diagnostic[] = [];
  for (const path of paths) {
    const bytes = await readIfThere(path);
    if (!bytes) continue;
    const wrong = checkBusybox(bytes, arch);
    if (wrong === undefined) return bytes;
    unfit.push(
      bootCodes.report('boot/busybox-unfit', {
        message: `${quoted(path)} cannot run inside the kernel: ${wrong}`,
        notes: ['Inside the booted kernel there is nothing else: no loader and no libraries.'],
        help: howToGet,
      }),
    );
  }
  throw new Failure(unfit[0] ?? notFound(named));
}

/** Why `bytes` cannot be the only program of a kernel for `arch`; `undefined` when they can. */
export function checkBusybox(bytes: Uint8Array, arch: Architecture): string | undefined {
  const elf = readElf(bytes).value;
  if (!elf || (elf.type !== 2 && elf.type !== 3)) return 'it is no ELF program';
  if (elf.machine !== elfMachines[arch] || elf.bits !== 64)
    return `it was made for another machine than ${arch}`;
  return elf.hasInterpreter ? 'it is dynamically linked' : undefined;
}

async function readIfThere(path: string): Promise<Buffer | undefined> {
  try {
    return await readFile(path);
  } catch {
    return undefined;
  }
}

function notFound(named: string | undefined): Diagnostic {
  const what =
    named === undefined ? 'busybox is not installed, or not in PATH' : `${quoted(named)} cannot be read`;
  return bootCodes.report('boot/no-busybox', {
    message: what,
    notes: [
      'It is all that runs inside the booted kernel: it loads the modules and asks the kernel what it is.',
    ],
    help: howToGet,
  });
}
