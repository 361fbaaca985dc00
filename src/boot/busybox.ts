import { readFile } from 'node:fs/promises';
import { delimiter, join } from 'node:path';
import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { buildMachine, type MachineCode } from '../environment/architectures.ts';
import type { Host } from '../host/host.ts';
import { readElf } from '../image/elf.ts';
import { bootCodes } from './codes.ts';

function howToGet({ debian }: MachineCode): string {
  if (debian === buildMachine) {
    return 'Install a statically linked busybox (Debian, Ubuntu: apt install busybox-static), or name one with --busybox.';
  }
  return `Name one with --busybox: Debian's package busybox-static for ${debian} has it (dpkg --add-architecture ${debian}, apt update, apt download busybox-static:${debian}, dpkg-deb -x).`;
}

/** Where distributions put it, for those whose PATH lacks the folder. */
const usualFolders = ['/bin', '/usr/bin', '/sbin', '/usr/sbin'];

/**
 * Reads the busybox that runs inside the booted kernel: the named one, else the first in PATH that is fit.
 *
 * @throws Failure `boot/no-busybox`, `boot/busybox-unfit`
 */
export async function readBusybox(host: Host, code: MachineCode, named?: string): Promise<Uint8Array> {
  const folders = [...(host.env['PATH'] ?? '').split(delimiter).filter((one) => one !== ''), ...usualFolders];
  const paths =
    named === undefined ? [...new Set(folders.map((folder) => join(folder, 'busybox')))] : [named];
  const unfit: Diagnostic[] = [];
  for (const path of paths) {
    const bytes = await readIfThere(path);
    if (!bytes) continue;
    const wrong = checkBusybox(bytes, code);
    if (wrong === undefined) return bytes;
    unfit.push(
      bootCodes.report('boot/busybox-unfit', {
        message: `${quoted(path)} cannot run inside the kernel: ${wrong}`,
        notes: ['Inside the booted kernel there is nothing else: no loader and no libraries.'],
        help: howToGet(code),
      }),
    );
  }
  throw new Failure(unfit[0] ?? notFound(code, named));
}

/** Why `bytes` cannot be the only program of a kernel for such machines; `undefined` when they can. */
export function checkBusybox(bytes: Uint8Array, code: MachineCode): string | undefined {
  const elf = readElf(bytes).value;
  if (!elf || (elf.type !== 2 && elf.type !== 3)) return 'it is no ELF program';
  if (elf.machine !== code.elf || elf.bits !== code.bits)
    return `it was made for another machine than Debian's ${code.debian}`;
  return elf.hasInterpreter ? 'it is dynamically linked' : undefined;
}

async function readIfThere(path: string): Promise<Buffer | undefined> {
  try {
    return await readFile(path);
  } catch {
    return undefined;
  }
}

function notFound(code: MachineCode, named: string | undefined): Diagnostic {
  const what =
    named === undefined ? 'busybox is not installed, or not in PATH' : `${quoted(named)} cannot be read`;
  return bootCodes.report('boot/no-busybox', {
    message: what,
    notes: [
      'It is all that runs inside the booted kernel: it loads the modules and asks the kernel what it is.',
    ],
    help: howToGet(code),
  });
}
