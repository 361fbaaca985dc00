import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';

export type RegistryCode =
  | 'registry/unreachable'
  | 'registry/unauthorised'
  | 'registry/no-such-image'
  | 'registry/moved'
  | 'registry/altered'
  | 'registry/bad-answer'
  | 'registry/other-platform'
  | 'registry/unread-layer'
  | 'registry/unfit';

const { input, missing, usage } = exitCodes;

/** What can go wrong with an image that an environment begins with, and with the registry that has it. */
export const registryCodes: Catalogue<RegistryCode> = catalogue({
  'registry/unreachable': {
    severity: 'error',
    exit: missing,
    summary: 'A registry does not answer, or fails.',
  },
  'registry/unauthorised': {
    severity: 'error',
    exit: missing,
    summary: 'A registry hands out an image only to those whom it knows.',
  },
  'registry/no-such-image': {
    severity: 'error',
    exit: missing,
    summary: 'A registry does not have the image, or has it no longer.',
  },
  'registry/moved': {
    severity: 'error',
    exit: input,
    summary: 'A tag leads to another image than the one that it was written or pinned with.',
  },
  'registry/altered': {
    severity: 'error',
    exit: input,
    summary: 'What a registry hands out has not the digest that it was asked for by.',
  },
  'registry/bad-answer': {
    severity: 'error',
    exit: input,
    summary: 'A registry hands out something that is no image, or more than an image has.',
  },
  'registry/other-platform': {
    severity: 'error',
    exit: usage,
    summary: 'An image is not made for the machines that kernels are built on.',
  },
  'registry/unread-layer': {
    severity: 'error',
    exit: missing,
    summary: 'A layer is compressed in a way that this version of Node cannot read.',
  },
  'registry/unfit': {
    severity: 'error',
    exit: usage,
    summary: 'An image is no system that packages of the release can be added to.',
  },
});
