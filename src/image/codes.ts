import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';

export type ImageCode =
  | 'image/empty'
  | 'image/not-x86-boot'
  | 'image/not-boot-image'
  | 'image/truncated'
  | 'image/old-protocol'
  | 'image/bad-field'
  | 'image/not-elf'
  | 'image/not-module';

/** What reading an image can report. */
export const imageCodes: Catalogue<ImageCode> = catalogue({
  'image/empty': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'The file has no bytes at all.',
  },
  'image/not-x86-boot': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'The file does not carry the header of a Linux kernel for x86 (bzImage).',
  },
  'image/not-boot-image': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'The file does not carry the header of a Linux kernel image for its architecture.',
  },
  'image/truncated': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'The file ends before the place that its own header speaks of.',
  },
  'image/old-protocol': {
    severity: 'error',
    exit: exitCodes.input,
    summary:
      'The image speaks a boot protocol older than 2.08 (before Linux 2.6.26), which is not read here.',
  },
  'image/bad-field': {
    severity: 'warning',
    exit: exitCodes.input,
    summary: 'A field of the header contradicts the boot protocol; the rest is read all the same.',
  },
  'image/not-elf': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'The file is not an ELF file, or its tables point outside of it.',
  },
  'image/not-module': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'The file is an ELF file without the .modinfo section that every kernel module has.',
  },
});
