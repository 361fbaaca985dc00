/** The real archive over the network. Without it the test is skipped with the reason; in CI that is a failure. */
import { expect, it, type TestContext } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import { environmentNeeds } from '../../src/environment/needs.ts';
import { archiveSigners } from '../../src/source/debian-archive-keys.ts';
import { readIndexes, type ArchiveIndexes } from '../../src/source/debian-archive.ts';
import { pinDebianSource } from '../../src/source/pin-debian-source.ts';
import { pinPackages } from '../../src/source/pin-packages.ts';
import { MissingInput, orSkip } from '../oracle/apt-root.ts';
import { makeWorld, type World } from '../container/world.ts';
import { spec } from '../kit/fixture.ts';

async function readLive(context: TestContext, { host }: World): Promise<ArchiveIndexes> {
  const read = readIndexes(host, { release: 'bookworm', architecture: 'amd64' }).catch((error: unknown) => {
    const unreachable = error instanceof Failure && error.diagnostics[0]?.exit === 3;
    throw unreachable ? new MissingInput(error.message) : error;
  });
  return orSkip(context, read);
}

it(
  'gives every package of an environment, and the source, with a digest',
  { timeout: 300_000 },
  async (context) => {
    const world = makeWorld();
    try {
      const { index, indexes, origins } = await readLive(context, world);
      expect(indexes.map((one) => one.suite)).toEqual(['bookworm', 'bookworm-updates', 'bookworm-security']);
      const { archive, security } = archiveSigners.bookworm;
      for (const { signer } of indexes)
        expect([...archive, ...security].map((key) => key.fingerprint)).toContain(signer);

      const wanted = environmentNeeds(spec, {
        asked: () => true,
        resolved: () => true,
        makesKey: true,
      }).map((need) => need.package);
      const { value: pins, diagnostics } = pinPackages(index, wanted);
      expect(diagnostics).toEqual([]);
      const names = pins.map((pin) => pin.package);
      expect(names).toEqual([...names].sort());
      // Facts of the trade: a compiler needs the C library; a system needs dpkg, and dpkg a shell, tar and a library too.
      expect(names).toEqual(expect.arrayContaining([...wanted, 'libc6', 'dash']));
      const essential = pins.filter((pin) => pin.essential).map((pin) => pin.package);
      expect(essential).toEqual(
        expect.arrayContaining(['base-files', 'bash', 'dash', 'dpkg', 'libc6', 'tar']),
      );
      expect(essential).not.toContain('gcc');
      for (const pin of pins) {
        expect(pin.sha256).toMatch(/^[0-9a-f]{64}$/);
        expect(pin.path).toMatch(/^pool\/.*\.deb$/);
        expect(Object.keys(origins)).toContain(pin.origin);
      }

      const source = pinDebianSource(index, { package: 'linux-source-6.1', version: '6.1' });
      expect(source.diagnostics).toEqual([]);
      expect(source.value?.version).toMatch(/^6\.1\.\d+-/);
    } finally {
      world.remove();
    }
  },
);
