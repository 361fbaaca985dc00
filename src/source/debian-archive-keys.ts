/**
 * Whose signature counts for which index. A key is known by the full fingerprint of its primary key: shorter names of
 * keys can be forged.
 *
 * Debian signs a suite with the keys of its own release and of a neighbour, so that an update finds a key it knows:
 * seen in the InRelease files of bullseye, bookworm and trixie, main, updates and security (November 2026). The key of
 * the release itself stands first and is the one that a lock names when several signatures are good.
 */
import type { DebianRelease } from '../spec/spec.ts';
import {
  bookwormAutomatic,
  bookwormSecurityAutomatic,
  bookwormStable,
  bullseyeAutomatic,
  bullseyeSecurityAutomatic,
  bullseyeStable,
  trixieAutomatic,
  trixieSecurityAutomatic,
  trixieStable,
  type ArchiveKey,
} from './debian-archive-keyring.ts';

export type AcceptedKeys = readonly ArchiveKey[];

export const archiveSigners: Readonly<
  Record<DebianRelease, { readonly archive: AcceptedKeys; readonly security: AcceptedKeys }>
> = {
  bullseye: {
    archive: [bullseyeAutomatic, bullseyeStable, bookwormAutomatic],
    security: [bullseyeSecurityAutomatic, bookwormSecurityAutomatic],
  },
  bookworm: {
    archive: [bookwormAutomatic, bookwormStable, trixieAutomatic],
    security: [bookwormSecurityAutomatic, bullseyeSecurityAutomatic, trixieSecurityAutomatic],
  },
  trixie: {
    archive: [trixieAutomatic, trixieStable, bookwormAutomatic],
    security: [trixieSecurityAutomatic, bookwormSecurityAutomatic],
  },
};
