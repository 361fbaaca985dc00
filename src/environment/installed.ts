/** What is installed in a Debian system, as dpkg's database says it: the file `/var/lib/dpkg/status`. */
import { deb822Parser } from '../archive/deb822.ts';
import { controlFields, readControl, type PackageRecord } from './package-record.ts';

export interface InstalledPackages {
  readonly records: readonly PackageRecord[];
  /** What is wrong with the database, in words; the first few. */
  readonly faults: readonly string[];
}

/** Wanted, whether something is wrong, and how far it has got (dpkg(1), Package States). */
const installed = /^(?:install|hold) ok installed$/;
/** Nothing of these is there but settings that dpkg keeps. */
const gone = /^\S+ ok (?:not-installed|config-files)$/;
const mostFaults = 5;

/**
 * Reads dpkg's database. Packages of other architectures are left out: nothing that a kernel is built with is of these.
 *
 * @param architecture as Debian calls it
 * @returns records that have no file, since nobody fetches what is there
 */
export function readInstalled(status: Uint8Array, architecture: string): InstalledPackages {
  const records: PackageRecord[] = [];
  const faults: string[] = [];
  const parser = deb822Parser({
    fields: [...controlFields, 'Status'],
    onStanza(stanza, line) {
      const state = stanza.get('status') ?? '';
      if (gone.test(state)) return;
      const control = readControl(stanza);
      if ('fault' in control) faults.push(`line ${line}: ${control.fault}`);
      else if (!installed.test(state))
        faults.push(`${control.package} is not whole: its state is "${state}"`);
      else if (control.architecture === architecture || control.architecture === 'all')
        records.push({ ...control, origin: '', filename: '', size: 0, sha256: '' });
    },
  });
  parser.feed(status);
  const problems = parser.end().map(({ line, reason }) => `line ${line}: ${reason}`);
  return { records, faults: [...problems, ...faults].slice(0, mostFaults) };
}
