import { describe, expect, it } from 'vitest';

import { environmentNeeds } from '../../src/environment/needs.ts';

const request = { arch: 'x86_64', debian: 'bookworm' } as const;

describe('environmentNeeds', () => {
  const names = environmentNeeds(request).map((need) => need.package);

  // The kernel's Documentation/process/changes.rst, its programs for a build, and Debian's Build-Depends of linux 6.1:
  // bison, flex, xz-utils, cpio, kmod, bc, libssl-dev, openssl, libelf-dev, lz4, dwarves
  it.each(['bc', 'binutils', 'bison', 'cpio', 'dwarves', 'flex', 'gcc', 'kmod', 'libelf-dev', 'libssl-dev'])(
    'has %s',
    (name) => {
      expect(names).toContain(name);
    },
  );

  it('has a program for each way in which a kernel can be compressed', () => {
    // KERNEL_GZIP needs gzip, which is Essential
    expect(names).toEqual(expect.arrayContaining(['bzip2', 'lz4', 'lzop', 'xz-utils', 'zstd']));
  });

  it('has the gcc that was asked for instead of the release’s own', () => {
    const asked = environmentNeeds({ ...request, gcc: 11 }).map((need) => need.package);
    expect(asked).toContain('gcc-11');
    expect(asked).not.toContain('gcc');
  });

  it('says of each what it is for, and names none twice', () => {
    for (const need of environmentNeeds(request)) expect(need.because).toMatch(/\w{3}/);
    expect(names).toEqual([...new Set(names)].sort());
  });
});
