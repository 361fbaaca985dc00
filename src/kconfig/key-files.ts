import { readDotConfig } from './dot-config.ts';
import { isKeyFile } from './pack-files.ts';
import { unquoteString } from './quote.ts';

/** An option of a configuration that names a file which the build will read. */
export interface KeyFile {
  readonly option: string;
  /** Relative to the root of the tree, unless absolute. */
  readonly path: string;
  /**
   * The build makes the file itself when it is not there: a new signing key every time, whose certificate becomes
   * part of the kernel. No two builds are equal then.
   */
  readonly generated: boolean;
}

/** The key that the build makes itself (certs/Makefile). */
const ownKey = 'certs/signing_key.pem';

const options = ['SYSTEM_TRUSTED_KEYS', 'SYSTEM_REVOCATION_KEYS', 'MODULE_SIG_KEY'];

/**
 * The key files that a configuration asks for. Where the tree lacks one that is not generated, make stops late with
 * "No rule to make target": the usual end of a build with a distribution's `.config`.
 *
 * @param configText a `.config`, in latin1
 */
export function keyFiles(configText: string): KeyFile[] {
  const config = readDotConfig(configText);
  return options.flatMap((option) => {
    const path = unquoteString(config.get(option) ?? '');
    // A PKCS #11 URI (RFC 7512) names a key in a token, and no file.
    if (path === undefined || path === '' || path.startsWith('pkcs11:')) return [];
    return [{ option, path, generated: option === 'MODULE_SIG_KEY' && path === ownKey }];
  });
}

/**
 * Those of them that nothing will bring: neither the tree has them nor does the build make them. A file whose name is none
 * of a key may still be in the tree; the build will tell.
 *
 * @param present the key files of the tree, as its pack tells
 */
export function missingKeyFiles(configText: string, present: ReadonlySet<string>): KeyFile[] {
  return keyFiles(configText).filter(
    ({ path, generated }) => !generated && !present.has(path) && (path.startsWith('/') || isKeyFile(path)),
  );
}

/** The build makes a signing key, as the tree does not bring one. */
export function makesSigningKey(configText: string, present: ReadonlySet<string>): boolean {
  return keyFiles(configText).some(({ path, generated }) => generated && !present.has(path));
}
