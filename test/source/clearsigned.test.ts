import { readFile } from 'node:fs/promises';

import fc from 'fast-check';
import { beforeAll, describe, expect, it } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import { verifyClearsigned } from '../../src/source/clearsigned.ts';
import { archiveSigners } from '../../src/source/debian-archive-keys.ts';
import { debianReleases, type DebianRelease } from '../../src/spec/spec.ts';
import { aptRoot, orSkip } from '../oracle/apt-root.ts';
import { gpgvAccepts, joinSignatures, makeKey, type SigningKey } from './otter-key.ts';

const text =
  'Origin: Otter Bank\nCodename: bookworm\n\n- a line with a hyphen\n-----BEGIN of nothing\nlast\n';

let otter: SigningKey;
let heron: SigningKey;
beforeAll(async () => {
  [otter, heron] = await Promise.all([makeKey('Otter Bank archive'), makeKey('Heron Reach archive')]);
});

function bytesOf(signed: string): Uint8Array {
  return new TextEncoder().encode(signed);
}

async function verify(
  signed: string,
  keys: readonly SigningKey[] = [otter],
  now = new Date(),
): Promise<string> {
  const accepted = keys.map((key) => key.publicKey);
  try {
    const verified = await verifyClearsigned(bytesOf(signed), 'InRelease', accepted, now);
    expect(keys.map((key) => key.publicKey.fingerprint)).toContain(verified.signer);
    return verified.text;
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    expect(error.diagnostics).toHaveLength(1);
    expect(error.diagnostics[0]?.exit).toBe(4);
    expect(error.diagnostics[0]?.help).toMatch(/\w+/);
    return error.diagnostics[0]?.code ?? '';
  }
}

describe('verifyClearsigned', () => {
  it('hands out the text that was signed', async () => {
    const signed = await otter.sign(text);
    expect(await verify(signed)).toBe(text);
    expect(await gpgvAccepts(signed, [otter.publicKey])).toBe(true);
  });

  it('takes white space at line ends and the line ends themselves as the signature does: not at all', async () => {
    const signed = await otter.sign('a\nb\n');
    expect(await verify(signed.replace('\na\n', '\na \t\n'))).toBe('a\nb\n');
    expect(await verify(signed.replaceAll('\n', '\r\n'))).toBe('a\nb\n');
  });

  it('wants one good signature by an accepted key, whatever stands beside it', async () => {
    const both = await joinSignatures(await otter.sign(text), await heron.sign(text));
    expect(await verify(both, [otter])).toBe(text);
    expect(await verify(both, [heron])).toBe(text);
    expect(await gpgvAccepts(both, [heron.publicKey])).toBe(true);
    const oneBad = await joinSignatures(await otter.sign(text), await heron.sign(`${text}more\n`));
    expect(await verify(oneBad, [otter, heron])).toBe(text);
  });

  it('names the signer that is preferred, in whatever order the signatures come', async () => {
    const [first, second] = [await otter.sign(text), await heron.sign(text)];
    const accepted = [heron.publicKey, otter.publicKey];
    for (const both of [await joinSignatures(first, second), await joinSignatures(second, first)]) {
      const { signer } = await verifyClearsigned(bytesOf(both), 'InRelease', accepted, new Date());
      expect(signer).toBe(heron.publicKey.fingerprint);
    }
  });

  // Each is refused by gpgv too, where "too" stands; else it is only ours to refuse, and the reason is said.
  it.each<[string, string, (signed: string) => string, string]>([
    ['no signature', 'source/not-signed', () => text, 'too'],
    ['nothing', 'source/not-signed', () => '', 'too'],
    ['a changed letter', 'source/altered', (signed) => signed.replace('bookworm', 'bullseye'), 'too'],
    ['a line taken out', 'source/altered', (signed) => signed.replace(/last\r?\n/, ''), 'too'],
    ['a line put in', 'source/altered', (signed) => signed.replace(/last\r?\n/, 'last\nmore\n'), 'too'],
    [
      'text in front',
      'source/outside-signature',
      (signed) => `Codename: trixie\n\n${signed}`,
      'gpgv skips it',
    ],
    ['text behind', 'source/outside-signature', (signed) => `${signed}\nCodename: trixie\n`, 'gpgv skips it'],
    [
      'a second signed text',
      'source/outside-signature',
      (signed) => signed + signed,
      'gpgv may stop at the first',
    ],
    [
      'a header that is no Hash',
      'source/outside-signature',
      (signed) => signed.replace(/^Hash: /m, 'Codename: trixie\nHash: '),
      'too',
    ],
    ['a signature cut off', 'source/bad-signature-form', (signed) => signed.slice(0, -60), 'too'],
    [
      'a line that is not escaped',
      'source/bad-signature-form',
      (signed) => signed.replace('- - a line', '- a line').replace('- -----BEGIN', '-----BEGIN'),
      'too',
    ],
    [
      'an empty signature',
      'source/bad-signature-form',
      (signed) => signed.replace(/\n\nw[\s\S]*\n-----END/, '\n\n-----END'),
      'too',
    ],
    [
      'bytes that are no text',
      'source/altered',
      (signed) => signed.replace('bookworm', 'book\u0000worm'),
      'too',
    ],
  ])('refuses %s', async (_, code, change, gpgv) => {
    const signed = await otter.sign(text);
    const changed = change(signed);
    expect(changed).not.toBe(signed);
    expect(await verify(changed)).toBe(code);
    if (gpgv === 'too') expect(await gpgvAccepts(changed, [otter.publicKey])).toBe(false);
  });

  it('refuses what is no UTF-8', async () => {
    const bytes = bytesOf(await otter.sign(text));
    bytes[60] = 0xff;
    const refused = verifyClearsigned(bytes, 'InRelease', [otter.publicKey], new Date());
    await expect(refused).rejects.toThrow('UTF-8');
  });

  it('refuses a signature by another key, and says by which', async () => {
    const signed = await heron.sign(text);
    expect(await verify(signed)).toBe('source/wrong-key');
    expect(await gpgvAccepts(signed, [otter.publicKey])).toBe(false);
    const refused = verifyClearsigned(bytesOf(signed), 'InRelease', [otter.publicKey], new Date());
    const error = await refused.catch((reason: unknown) => reason);
    const notes = error instanceof Failure ? (error.diagnostics[0]?.notes ?? []) : [];
    expect(notes[0]).toMatch(/^Signature by the key [0-9A-F]{16}/);
    expect(notes[1]).toContain(otter.publicKey.fingerprint);
  });

  it('knows a key by its whole fingerprint alone', async () => {
    const disguised = { ...heron.publicKey, fingerprint: otter.publicKey.fingerprint };
    const verified = verifyClearsigned(bytesOf(await heron.sign(text)), 'InRelease', [disguised], new Date());
    await expect(verified).rejects.toThrow('has the fingerprint');
  });

  describe('by a key that has expired', () => {
    const made = new Date('2020-01-01T00:00:00Z');
    const day = 24 * 3600;
    let old: SigningKey;
    beforeAll(async () => {
      old = await makeKey('Old Otter Bank archive', { made, expires: 10 * day });
    });

    it('counts while the key is good', async () => {
      const signed = await old.sign(text, new Date('2020-01-02T00:00:00Z'));
      expect(await verify(signed, [old], new Date('2020-01-03T00:00:00Z'))).toBe(text);
    });

    it('no longer counts afterwards, though it says that it is from before', async () => {
      const signed = await old.sign(text, new Date('2020-01-02T00:00:00Z'));
      expect(await verify(signed, [old])).toBe('source/key-expired');
    });
  });

  it('refuses a signature from the future, and speaks of the clock', async () => {
    const signed = await otter.sign(text);
    const accepted = [otter.publicKey];
    const yesterday = new Date(Date.now() - 24 * 3600 * 1000);
    const error = await verifyClearsigned(bytesOf(signed), 'InRelease', accepted, yesterday).catch(
      (one: unknown) => one,
    );
    const [report] = error instanceof Failure ? error.diagnostics : [];
    expect(report?.code).toBe('source/signature-refused');
    expect(report?.help).toContain('clock');
  });

  it('lets no change through, wherever a letter is changed', async () => {
    const signed = await otter.sign(text);
    const lastOfText = signed.indexOf('-----BEGIN PGP SIGNATURE');
    const firstOfText = signed.indexOf('\n\n') + 2;
    await fc.assert(
      fc.asyncProperty(
        fc.integer({ min: firstOfText, max: lastOfText - 2 }),
        fc.constantFrom('x', '-', '\n', ' ', '\r', '\0', 'ü'),
        async (place, letter) => {
          const changed = signed.slice(0, place) + letter + signed.slice(place + 1);
          const found = await verify(changed);
          // White space at the end of a line is no part of what is signed.
          if (found !== text) expect(found).toMatch(/^source\//);
        },
      ),
      { numRuns: 60 },
    );
  });
});

describe('the InRelease files of Debian', () => {
  it.for(debianReleases)(
    'of %s are verified by us and by gpgv, and refused by both when changed',
    async (release, context) => {
      const root = await orSkip(context, aptRoot(release));
      expect(root.inReleaseFiles).toHaveLength(3);
      for (const file of root.inReleaseFiles) await expectAgreement(release, file);
    },
  );

  async function expectAgreement(release: DebianRelease, file: string): Promise<void> {
    const { archive, security } = archiveSigners[release];
    const [keys, others] = file.includes('-security') ? [security, archive] : [archive, security];
    const bytes = await readFile(file);
    const { text: signed, signer } = await verifyClearsigned(bytes, file, keys, new Date());
    expect(keys.map((key) => key.fingerprint)).toContain(signer);
    expect(signed).toContain(`Codename: ${release}`);
    expect(await gpgvAccepts(bytes, keys)).toBe(true);

    const changed = Buffer.from(bytes);
    const place = bytes.indexOf('main/binary-amd64/Packages') - 80;
    changed[place] = (changed[place] ?? 0) ^ 1;
    await expect(verifyClearsigned(changed, file, keys, new Date())).rejects.toThrow('not what was signed');
    expect(await gpgvAccepts(changed, keys)).toBe(false);

    await expect(verifyClearsigned(bytes, file, others, new Date())).rejects.toThrow('signed by no key');
    expect(await gpgvAccepts(bytes, others)).toBe(false);
  }
});
