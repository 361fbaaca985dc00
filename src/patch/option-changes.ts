/** Options that a patch adds to a tree's Kconfig files, or takes out of them. */

/** Names that a Kconfig file defines (`config NAME`, `menuconfig NAME`; the kernel's kconfig-language.rst). */
export function definedOptions(text: string): ReadonlySet<string> {
  return new Set(
    [...text.matchAll(/^[ \t]*(?:menu)?config[ \t]+([A-Za-z0-9_]+)/gm)].map(([, name = '']) => name),
  );
}

export function isKconfigFile(path: string): boolean {
  return /(?:^|\/)Kconfig[^/]*$/.test(path);
}
