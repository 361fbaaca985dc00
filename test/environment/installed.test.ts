import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';

import { describe, expect, it } from 'vitest';

import { readInstalled } from '../../src/environment/installed.ts';

const bytes = (text: string): Uint8Array => new TextEncoder().encode(text);
const stanza = (name: string, status: string, architecture = 'amd64'): string =>
  `Package: ${name}\nStatus: ${status}\nArchitecture: ${architecture}\nVersion: 1.0\n\n`;

describe('what is installed', () => {
  it('is on this machine what dpkg-query says', () => {
    const architecture = execFileSync('dpkg', ['--print-architecture'], { encoding: 'utf8' }).trim();
    const { records, faults } = readInstalled(readFileSync('/var/lib/dpkg/status'), architecture);
    expect(faults).toEqual([]);
    const format = '${db:Status-Status} ${Package} ${Version} ${Architecture}\n';
    const said = execFileSync('dpkg-query', ['-W', '-f', format], { encoding: 'utf8' })
      .split('\n')
      .flatMap((line) => /^installed (.*) (?:all|(?<own>\S+))$/.exec(line) ?? [])
      .filter((part) => part?.includes(' ') && !part.startsWith('installed'));
    expect(records.map(({ package: name, version }) => `${name} ${version}`).sort()).toEqual(said.sort());
  });

  it('is not what was removed, or is of another architecture', () => {
    const text = [
      stanza('gauge', 'install ok installed'),
      stanza('held', 'hold ok installed', 'all'),
      stanza('removed', 'deinstall ok config-files'),
      stanza('never', 'unknown ok not-installed'),
      stanza('foreign', 'install ok installed', 'i386'),
    ].join('');
    const { records, faults } = readInstalled(bytes(text), 'amd64');
    expect(records.map((one) => one.package)).toEqual(['gauge', 'held']);
    expect(faults).toEqual([]);
  });

  // The states of dpkg(1).
  it.each([
    'install ok half-installed',
    'install ok unpacked',
    'install ok half-configured',
    'install ok triggers-awaited',
    'install ok triggers-pending',
    'install reinstreq installed',
  ])('is not whole in the state "%s"', (state) => {
    expect(readInstalled(bytes(stanza('gauge', state)), 'amd64').faults).toEqual([
      `gauge is not whole: its state is "${state}"`,
    ]);
  });

  it('says what cannot be read', () => {
    const { faults } = readInstalled(
      bytes('no field\n\nPackage: -x\nStatus: install ok installed\n'),
      'amd64',
    );
    expect(faults).toHaveLength(2);
    expect(faults[1]).toBe('line 3: Package is no package name');
  });
});
