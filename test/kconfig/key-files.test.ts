import { expect, test } from 'vitest';
import { keyFiles, makesSigningKey, missingKeyFiles } from '../../src/kconfig/key-files.ts';

// The rules are those of certs/Makefile and certs/Kconfig of Linux 6.1.
test.each([
  [
    'a distribution',
    'CONFIG_SYSTEM_TRUSTED_KEYS="certs/otter-bank.pem"\nCONFIG_SYSTEM_REVOCATION_KEYS="certs/revoked.pem"',
    [
      { option: 'SYSTEM_TRUSTED_KEYS', path: 'certs/otter-bank.pem', generated: false },
      { option: 'SYSTEM_REVOCATION_KEYS', path: 'certs/revoked.pem', generated: false },
    ],
  ],
  ['none', 'CONFIG_SYSTEM_TRUSTED_KEYS=""\nCONFIG_SYSTEM_REVOCATION_KEYS=""\nCONFIG_MODULE_SIG_KEY=""', []],
  ['not mentioned', 'CONFIG_MODULES=y', []],
  [
    'the key that the build makes',
    'CONFIG_MODULE_SIG_KEY="certs/signing_key.pem"',
    [{ option: 'MODULE_SIG_KEY', path: 'certs/signing_key.pem', generated: true }],
  ],
  [
    "a key of one's own",
    'CONFIG_MODULE_SIG_KEY="/keys/gauge.pem"',
    [{ option: 'MODULE_SIG_KEY', path: '/keys/gauge.pem', generated: false }],
  ],
  [
    'a trusted key under the name of the generated one',
    'CONFIG_SYSTEM_TRUSTED_KEYS="certs/signing_key.pem"',
    [{ option: 'SYSTEM_TRUSTED_KEYS', path: 'certs/signing_key.pem', generated: false }],
  ],
  ['a token', 'CONFIG_MODULE_SIG_KEY="pkcs11:object=gauge"', []],
  [
    'escapes',
    String.raw`CONFIG_SYSTEM_TRUSTED_KEYS="a\"b\\c.pem"`,
    [{ option: 'SYSTEM_TRUSTED_KEYS', path: String.raw`a"b\c.pem`, generated: false }],
  ],
  ['the last line counts', 'CONFIG_SYSTEM_TRUSTED_KEYS="a.pem"\nCONFIG_SYSTEM_TRUSTED_KEYS=""', []],
])('%s', (_, config, expected) => {
  expect(keyFiles(config)).toEqual(expected);
});

test('what nothing will bring is missing; a name that is none of a key may be in the tree all the same', () => {
  const config = [
    'CONFIG_SYSTEM_TRUSTED_KEYS="certs/otter-bank.pem"',
    'CONFIG_SYSTEM_REVOCATION_KEYS="certs/revoked"',
    'CONFIG_MODULE_SIG_KEY="/keys/gauge"',
  ].join('\n');
  const missing = (...present: string[]): string[] =>
    missingKeyFiles(config, new Set(present)).map(({ path }) => path);
  expect(missing()).toEqual(['certs/otter-bank.pem', '/keys/gauge']);
  expect(missing('certs/otter-bank.pem')).toEqual(['/keys/gauge']);
});

test('a signing key is made where the tree does not bring it', () => {
  const config = 'CONFIG_MODULE_SIG_KEY="certs/signing_key.pem"';
  expect(makesSigningKey(config, new Set())).toBe(true);
  expect(missingKeyFiles(config, new Set())).toEqual([]);
  expect(makesSigningKey(config, new Set(['certs/signing_key.pem']))).toBe(false);
  expect(makesSigningKey('CONFIG_MODULE_SIG_KEY="certs/gauge.pem"', new Set())).toBe(false);
});
