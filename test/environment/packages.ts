/**
 * A small notation for a release: one package a line, `name version; field: value; …`. A flag without a colon is
 * `essential`. Everything that a real index has besides is made up.
 */
import { packagesReader, type PackageRecord } from '../../src/environment/package-record.ts';
import { mergePackages, type PackageIndex } from '../../src/environment/package-index.ts';

/** The text of a `Packages` file. */
export function packagesText(lines: string): string {
  return lines
    .split('\n')
    .map((line) => line.trim())
    .filter((line) => line !== '')
    .map(stanzaOf)
    .join('\n');
}

function stanzaOf(line: string): string {
  const [head = '', ...rest] = line.split(';').map((part) => part.trim());
  const [name = '', version = '1.0'] = head.split(' ');
  const given = rest.map((part) => (part === 'essential' ? 'Essential: yes' : part));
  const has = (field: string): boolean => given.some((part) => part.toLowerCase().startsWith(`${field}:`));
  const plainVersion = version.replace(/^\d+:/, '');
  return [
    `Package: ${name}`,
    `Version: ${version}`,
    ...(has('architecture') ? [] : ['Architecture: amd64']),
    ...given,
    `Filename: pool/main/${name.slice(0, 1)}/${name}/${name}_${plainVersion}_amd64.deb`,
    'Size: 1000',
    `SHA256: ${'0'.repeat(64)}`,
    '',
  ].join('\n');
}

export function records(lines: string, origin = 'debian'): readonly PackageRecord[] {
  const reader = packagesReader(origin);
  reader.feed(new TextEncoder().encode(packagesText(lines)));
  const { records: found, problems } = reader.end();
  if (problems.length > 0) throw new Error(JSON.stringify(problems));
  return found;
}

/** The index of a release whose suites have these packages. */
export function release(...suites: readonly string[]): PackageIndex {
  return mergePackages(
    'amd64',
    suites.map((lines) => records(lines)),
  );
}
