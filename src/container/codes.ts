import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';

export type ContainerCode =
  | 'container/no-engine'
  | 'container/engine-refuses'
  | 'container/engine-silent'
  | 'container/disk-short'
  | 'container/memory-short'
  | 'container/failed'
  | 'container/bad-input'
  | 'container/does-not-compile';

/** What can go wrong around a container engine and a kit that it runs. */
export const containerCodes: Catalogue<ContainerCode> = catalogue({
  'container/no-engine': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'no container engine is installed',
  },
  'container/engine-refuses': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'the container engine is there, and this user may not use it',
  },
  'container/engine-silent': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'the container engine is there and does not answer',
  },
  'container/disk-short': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'the disk that the engine builds on has too little room for this build',
  },
  'container/memory-short': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: 'this machine may have too little memory for this build',
  },
  'container/failed': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'a step of the kit failed for a reason of this machine',
  },
  'container/bad-input': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'an input of the kit is not what it should be: a digest, a patch, the tree, the toolchain',
  },
  'container/does-not-compile': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'the kernel does not compile',
  },
});
