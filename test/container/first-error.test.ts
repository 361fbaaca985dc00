import { describe, expect, it } from 'vitest';

import { firstError } from '../../src/container/first-error.ts';

const log = (...lines: readonly string[]): string => lines.join('\n');

describe('firstError', () => {
  it('passes over what make says of the steps before the end', () => {
    expect(
      firstError(
        log(
          '  CC      init/main.o',
          "init/main.c: In function 'start_kernel':",
          "init/main.c:934:9: error: implicit declaration of function 'gauge' [-Werror=implicit-function-declaration]",
          'cc1: some warnings being treated as errors',
          'make[1]: *** [scripts/Makefile.build:250: init/main.o] Error 1',
          'make: *** [Makefile:2025: init] Error 2',
        ),
      ),
    ).toMatchObject({ line: 3, text: expect.stringMatching(/^init\/main\.c:934:9: error: implicit/u) });
  });

  it("takes make's own line where it is the cause", () => {
    expect(
      firstError(
        log(
          '  CC      certs/system_keyring.o',
          "make[1]: *** No rule to make target 'debian/certs/debian-uefi-certs.pem', needed by 'certs/x509_certificate_list'.  Stop.",
          'make: *** [Makefile:2025: certs] Error 2',
        ),
      ),
    ).toMatchObject({ line: 2, meaning: expect.stringContaining('SYSTEM_TRUSTED_KEYS') });
  });

  // words of compilers, linkers and shells as practitioners quote them: common practice
  it.each([
    ['scripts/sign-file.c:25:10: fatal error: openssl/opensslv.h: No such file or directory', 'OpenSSL'],
    ['<stdin>:1:10: fatal error: gelf.h: No such file or directory', 'libelf'],
    ['/bin/sh: 1: bc: not found', 'not in the environment'],
    ["ld: scripts/dtc/dtc-parser.tab.o:(.bss+0x10): error: multiple definition of `yylloc'", 'newer'],
    ["./include/linux/stddef.h:11:9: error: cannot use keyword 'false' as enumeration constant", 'newer'],
    ['kernel/fork.c:120: error: unused variable [-Werror=unused-variable]', 'WERROR'],
    ['ld: final link failed: error: No space left on device', 'full'],
    ['/bin/sh: line 1:  4711 Killed                  gcc -c x.c', 'memory'],
  ])('explains %j', (line, word) => {
    expect(firstError(log('  CC      x.o', line))).toMatchObject({
      line: 2,
      meaning: expect.stringContaining(word),
    });
  });

  it.each([
    '',
    '  CC      lib/error.o\n  CC      fs/nfs/nfs4-errors.o',
    'warning: unused variable',
    '\0\xff',
  ])('finds none in %j', (text) => {
    expect(firstError(text)).toBeUndefined();
  });
});
