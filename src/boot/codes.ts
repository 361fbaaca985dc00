import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';

export type BootCode =
  | 'boot/no-record'
  | 'boot/image-unknown'
  | 'boot/architecture'
  | 'boot/altered'
  | 'boot/no-busybox'
  | 'boot/busybox-unfit'
  | 'boot/no-modules'
  | 'boot/no-such-module'
  | 'boot/module-unreadable'
  | 'boot/archive-unreadable'
  | 'boot/modules-too-large'
  | 'boot/modules-left-out'
  | 'boot/emulator-failed'
  | 'boot/panic'
  | 'boot/hang'
  | 'boot/silent'
  | 'boot/restarted'
  | 'boot/flooded'
  | 'boot/release-differs'
  | 'boot/version-differs'
  | 'boot/config-differs'
  | 'boot/config-not-embedded'
  | 'boot/module-failed'
  | 'boot/complaint';

/** What proving that a kernel boots can report. */
export const bootCodes: Catalogue<BootCode> = catalogue({
  'boot/no-record': {
    severity: 'error',
    exit: exitCodes.usage,
    summary:
      'The folder is not one that a build wrote: it has no provenance.json, or not the image it speaks of.',
  },
  'boot/image-unknown': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'The provenance does not say which of its subjects is the kernel image.',
  },
  'boot/architecture': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'The kernel was built for an architecture that cannot be booted here.',
  },
  'boot/altered': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'A file of the record is not the one that was built: its SHA-256 differs.',
  },
  'boot/no-busybox': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'No busybox was found; it is all that runs inside the booted kernel.',
  },
  'boot/busybox-unfit': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'The busybox is not a statically linked program for the architecture of the kernel.',
  },
  'boot/no-modules': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'Modules were named, but the record has no modules archive.',
  },
  'boot/no-such-module': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'A module was named that the modules archive does not hold.',
  },
  'boot/module-unreadable': {
    severity: 'warning',
    exit: exitCodes.no,
    summary: 'A file of the modules archive cannot be read as a module and was not loaded.',
  },
  'boot/archive-unreadable': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'The modules archive is no tar file compressed with xz, or it is cut off.',
  },
  'boot/modules-too-large': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'The modules to be loaded are too large for the memory of the emulated machine.',
  },
  'boot/modules-left-out': {
    severity: 'note',
    exit: exitCodes.ok,
    summary: 'The archive holds many modules and none was named, so that none was loaded.',
  },
  'boot/emulator-failed': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'The emulator ended with an error of its own.',
  },
  'boot/panic': { severity: 'error', exit: exitCodes.no, summary: 'The kernel panicked.' },
  'boot/hang': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'The kernel said something but did not finish within the time that was given.',
  },
  'boot/silent': {
    severity: 'error',
    exit: exitCodes.no,
    summary:
      'Nothing came out of the serial console: the kernel lacks the console, or does not start at all.',
  },
  'boot/restarted': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'The machine restarted before the check inside it was done, without a panic.',
  },
  'boot/flooded': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'The kernel wrote more to its console than is kept.',
  },
  'boot/release-differs': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'The booted kernel has another release (uname -r) than the record says.',
  },
  'boot/version-differs': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'The booted kernel has another version string (uname -v) than the record says.',
  },
  'boot/config-differs': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'The configuration embedded in the booted kernel is not the one of the record.',
  },
  'boot/config-not-embedded': {
    severity: 'note',
    exit: exitCodes.ok,
    summary: 'The kernel does not embed its configuration (IKCONFIG_PROC), so that it could not be compared.',
  },
  'boot/module-failed': { severity: 'error', exit: exitCodes.no, summary: 'A module could not be loaded.' },
  'boot/complaint': {
    severity: 'warning',
    exit: exitCodes.no,
    summary: 'The kernel reported a fault of its own (BUG, Oops, WARNING) and went on.',
  },
});
