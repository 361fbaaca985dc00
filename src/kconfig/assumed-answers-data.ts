/**
 * What the default environment answers to the questions of some kernels.
 *
 * Written by test/kconfig/assumed-answers.slow.test.ts out of a run in that environment: do not edit.
 */

export interface AssumedEnvironment {
  readonly debian: string;
  readonly arch: string;
  /** Versions whose questions these were. */
  readonly kernels: readonly string[];
  /** Package to the version that answered. */
  readonly packages: Readonly<Record<string, string>>;
}

export const assumedEnvironment: AssumedEnvironment = {
  debian: 'bookworm',
  arch: 'x86_64',
  kernels: ['5.10.262', '6.1.192', '6.12.117', '7.3.4'],
  packages: {
    binutils: '2.40-2',
    coreutils: '9.1-1',
    dash: '0.5.12-2',
    dwarves: '1.24-4.1',
    gcc: '4:12.2.0-3',
    'gcc-12': '12.2.0-14+deb12u1',
    'libc6-dev': '2.36-9+deb12u14',
    mawk: '1.3.4.20200120-3.1',
    sed: '4.9-1+deb12u1',
  },
};

/** Command line, run in the tree, to what it prints in every tree. */
export const commonAnswers: Readonly<Record<string, string>> = {
  './scripts/as-version.sh gcc ': 'GNU 24000',
  './scripts/cc-version.sh gcc': 'GCC 120200',
  './scripts/clang-version.sh gcc': '0',
  './scripts/gcc-version.sh gcc': '120200',
  './scripts/ld-version.sh ld': 'BFD 24000',
  './scripts/lld-version.sh ld': '0',
  './scripts/pahole-version.sh pahole': '124',
  './scripts/rustc-llvm-version.sh rustc': '0',
  './scripts/rustc-version.sh rustc': '0',
  'LC_ALL=C gcc --version 2>/dev/null | head -n 1': 'gcc (Debian 12.2.0-14+deb12u1) 12.2.0',
  '[ 0 -ge  901000 ] && echo y': '',
  'bindgen --version 2>/dev/null': '',
  'bindgen --version workaround-for-0.69.0 2>/dev/null': '',
  'expr 0 / 10000': '0',
  'expr 120200 / 10000': '12',
  'gcc --version 2>&1 | head -n 1 | grep clang': '',
  'gcc --version 2>/dev/null | head -n 1': 'gcc (Debian 12.2.0-14+deb12u1) 12.2.0',
  'gcc -print-file-name=plugin': '/usr/lib/gcc/x86_64-linux-gnu/12/plugin',
  'ld --version | ./scripts/ld-version.sh': '240000000',
  'rustc --version 2>/dev/null': '',
  'set -- BFD 24000 && echo $1': 'BFD',
  'set -- BFD 24000 && echo $2': '24000',
  'set -- GCC 120200 && echo $1': 'GCC',
  'set -- GCC 120200 && echo $2': '120200',
  'set -- GNU 24000 && echo $1': 'GNU',
  'set -- GNU 24000 && echo $2': '24000',
  '{  ld -v | grep -q gold; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{  openssl list -key-managers | grep -q ML-DSA-87; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ ./scripts/cc-can-link.sh gcc    -m32 -static; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ ./scripts/cc-can-link.sh gcc    -m32; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ ./scripts/cc-can-link.sh gcc    -m64 -static; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ ./scripts/cc-can-link.sh gcc    -m64; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ ./scripts/cc-can-link.sh gcc  -m32 -static; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ ./scripts/cc-can-link.sh gcc  -m32; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ ./scripts/cc-can-link.sh gcc  -m64 -static; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ ./scripts/cc-can-link.sh gcc  -m64; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ ./scripts/gcc-goto.sh gcc; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ ./scripts/gcc-x86_32-has-stack-protector.sh gcc ; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ ./scripts/gcc-x86_32-has-stack-protector.sh gcc; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ ./scripts/gcc-x86_64-has-stack-protector.sh gcc ; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ ./scripts/gcc-x86_64-has-stack-protector.sh gcc; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ ./scripts/rust_is_available.sh; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ ar --help | head -n 1 | grep -qi llvm; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ command -v gcc; } >/dev/null 2>&1 && echo "n" || echo "y"': 'n',
  '{ command -v ld; } >/dev/null 2>&1 && echo "n" || echo "y"': 'n',
  '{ echo "gcc (Debian 12.2.0-14+deb12u1) 12.2.0" | grep -q clang; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ echo "gcc (Debian 12.2.0-14+deb12u1) 12.2.0" | grep -q gcc; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ echo \'__attribute__((no_profile_instrument_function)) int x();\' | gcc -x c - -c -o /dev/null -Werror; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ echo \'char tag[][4] __attribute__((__nonstring__)) = { };\' | gcc  -x c - -c -o /dev/null -Werror; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ echo \'int __seg_fs fs; int __seg_gs gs;\' | gcc -x c - -S -o /dev/null; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ echo \'int foo(int *x) { asm goto (".long (%l[bar]) - .": "+m"(*x) ::: bar); return *x; bar: return 0; }\' | $CC -x c - -c -o /dev/null; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ echo \'int foo(int x) { asm goto ("": "=r"(x) ::: bar); return x; bar: return 0; }\' | gcc -x c - -c -o /dev/null; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ echo \'struct flex { int count; int array[] __attribute__((__counted_by__(count))); };\' | gcc  -x c - -c -o /dev/null -Werror; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ echo \'void b(void **);void* c(void);int f(void){{asm goto(""::::l0);return 0;l0:return 1;}void *x __attribute__((cleanup(b)))=c();{asm goto(""::::l1);return 2;l1:return 3;}}\' | gcc -x c - -c -o /dev/null; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ echo \'void foo(void) { asm inline (""); }\' | gcc -x c - -c -o /dev/null; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ gcc -Werror -m32 -E -x c /dev/null -o /dev/null; } >/dev/null 2>&1 && echo "-m32" || echo ""': '-m32',
  '{ gcc -Werror -m64 -E -x c /dev/null -o /dev/null; } >/dev/null 2>&1 && echo "-m64" || echo ""': '-m64',
  '{ ld -v --compress-debug-sections=zlib; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ ld -v --compress-debug-sections=zstd; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ ld -v --gc-sections; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ ld -v --orphan-handling=error; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ ld -v --orphan-handling=warn; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ ld -v | head -n 1 | grep -q LLD; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror   -fsanitize-undefined-trap-on-error -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror   -fsanitize=kernel-address -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror   -fsanitize=kernel-hwaddress -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -Werror=unused-command-line-argument -fsanitize=bounds -fsanitize-coverage=trace-pc -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -Werror=unused-command-line-argument -fsanitize=thread -fsanitize-coverage=trace-pc -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -ffunction-sections -fdata-sections -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -fsanitize-coverage=trace-cmp -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -fsanitize-coverage=trace-pc -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -fsanitize=thread --param tsan-compound-read-before-write=1 -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -fsanitize=thread --param tsan-distinguish-volatile=1 -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -fsanitize=thread -mllvm -tsan-compound-read-before-write=1 -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -fsanitize=thread -mllvm -tsan-distinguish-volatile=1 -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -fstack-protector -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -fstack-protector-strong -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -ftrivial-auto-var-init=pattern -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -ftrivial-auto-var-init=zero -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -ftrivial-auto-var-init=zero -enable-trivial-auto-var-init-zero-knowing-it-will-be-removed-from-clang -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -gdwarf-4 -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -gsplit-dwarf -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -gz=zlib -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -m64 -D__SIZEOF_INT128__=0 -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -mfunction-return=thunk-extern -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ mkdir .tmp_$$$$; trap "rm -rf .tmp_$$$$" EXIT; gcc -Werror  -mharden-sls=all -c -x c /dev/null -o .tmp_$$$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ nm --help | head -n 1 | grep -qi llvm; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ objcopy --version | head -n1 | grep -qv llvm; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ printf "%b\\n" ".uleb128 .Lexpr_end4 - .Lexpr_start3\\n.Lexpr_start3:\\n.Lexpr_end4:" | gcc   -Wa,--fatal-warnings -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ printf "%b\\n" ".uleb128 .Lexpr_end4 - .Lexpr_start3\\n.Lexpr_start3:\\n.Lexpr_end4:" | gcc  -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ printf "%b\\n" "endbr64" | gcc   -Wa,--fatal-warnings -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ printf "%b\\n" "endbr64" | gcc  -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ printf "%b\\n" "sha1msg1 %xmm0,%xmm1" | gcc   -Wa,--fatal-warnings -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ printf "%b\\n" "sha1msg1 %xmm0,%xmm1" | gcc  -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ printf "%b\\n" "sha256msg1 %xmm0,%xmm1" | gcc   -Wa,--fatal-warnings -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ printf "%b\\n" "sha256msg1 %xmm0,%xmm1" | gcc  -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ printf "%b\\n" "tpause %ecx" | gcc   -Wa,--fatal-warnings -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ printf "%b\\n" "tpause %ecx" | gcc  -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ printf "%b\\n" "vaesenc %ymm0,%ymm1,%ymm2" | gcc   -Wa,--fatal-warnings -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ printf "%b\\n" "vgf2p8mulb %xmm0,%xmm1,%xmm2" | gcc   -Wa,--fatal-warnings -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ printf "%b\\n" "vpclmulqdq \\$0x10,%ymm0,%ymm1,%ymm2" | gcc   -Wa,--fatal-warnings -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ printf "%b\\n" "vpmovm2b %k1,%zmm5" | gcc   -Wa,--fatal-warnings -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ printf "%b\\n" "vpmovm2b %k1,%zmm5" | gcc  -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ printf "%b\\n" "wrussq %rax,(%rbx)" | gcc  -m64 -Wa,--fatal-warnings -c -x assembler-with-cpp -o /dev/null -; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ python3 -c "import lxml"; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ test "BFD" = BFD; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ test "BFD" = LLD; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ test "GCC" = Clang; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ test "GCC" = GCC; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ test "GNU" = GNU; } >/dev/null 2>&1 && echo "y" || echo "n"': 'y',
  '{ test "GNU" = LLVM; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ test -e /usr/lib/gcc/x86_64-linux-gnu/12/plugin/include/plugin-version.h; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ test -z "BFD 24000"; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ test -z "GCC 120200"; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ test -z "GNU 24000"; } >/dev/null 2>&1 && echo "y" || echo "n"': 'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror   -fcf-protection=branch -mindirect-branch-register -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror   -fmin-function-alignment=8 -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror   -fsanitize-undefined-trap-on-error -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror   -fsanitize=kernel-address -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror   -fsanitize=kernel-hwaddress -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror   -march=native -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -Wimplicit-fallthrough=5 -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -Wunreachable-code-fallthrough -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -falloc-token-max=123 -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fbasic-block-sections=list=/dev/null -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -ffunction-sections -fdata-sections -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -finline-stringops=memset -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fms-anonymous-structs -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fpatchable-function-entry=16 -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -frandomize-layout-seed-file=/dev/null -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize-coverage-stack-depth-callback-min=1 -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize-coverage=trace-cmp -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize-coverage=trace-pc -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize-ignorelist=/dev/null -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize-undefined-ignore-overflow-pattern=all -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=alignment -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=array-bounds -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=bool -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=bounds -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=bounds-strict -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=enum -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=implicit-signed-integer-truncation -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=implicit-unsigned-integer-truncation -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=integer-divide-by-zero -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=kcfi -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=kcfi -fsanitize-cfi-icall-experimental-normalize-integers -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=kcfi -fsanitize-kcfi-arity -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=kernel-address --param asan-kernel-mem-intrinsic-prefix=1 -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=kernel-address -mllvm -asan-kernel-mem-intrinsic-prefix=1 -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=kernel-memory -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=kernel-memory -fsanitize-memory-param-retval -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=kernel-memory -mllvm -msan-disable-checks=1 -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=local-bounds -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=shift -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=signed-integer-overflow -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=thread --param tsan-compound-read-before-write=1 -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=thread --param tsan-distinguish-volatile=1 -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=thread -mllvm -tsan-compound-read-before-write=1 -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=thread -mllvm -tsan-distinguish-volatile=1 -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=unreachable -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fsanitize=unsigned-integer-overflow -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fstack-protector -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fstack-protector-strong -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -ftrivial-auto-var-init=pattern -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -ftrivial-auto-var-init=zero -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -ftrivial-auto-var-init=zero -enable-trivial-auto-var-init-zero-knowing-it-will-be-removed-from-clang -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -fzero-call-used-regs=used-gpr -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -gsplit-dwarf -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -gz=zlib -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -gz=zstd -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -m64 -D__SIZEOF_INT128__=0 -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -mfunction-return=thunk-extern -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -mharden-sls=all -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -mllvm -max-store-memset=4294967294 -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'n',
  '{ trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; gcc -Werror  -mrecord-mcount -c -x c /dev/null -o .tmp_$$/tmp.o; } >/dev/null 2>&1 && echo "y" || echo "n"':
    'y',
};

/** Series to the answers that are others in other trees: their scripts have changed. */
export const answersBySeries: Readonly<Record<string, Readonly<Record<string, string>>>> = {
  '5.10': {
    '{ env "CC=gcc" "LD=ld" "NM=nm" "OBJCOPY=objcopy" ./scripts/tools-support-relr.sh; } >/dev/null 2>&1 && echo "y" || echo "n"':
      'n',
  },
  '6.1': {
    '{ env "CC=gcc" "LD=ld" "NM=nm" "OBJCOPY=objcopy" ./scripts/tools-support-relr.sh; } >/dev/null 2>&1 && echo "y" || echo "n"':
      'n',
  },
  '6.12': {
    '{ env "CC=gcc" "LD=ld" "NM=nm" "OBJCOPY=objcopy" ./scripts/tools-support-relr.sh; } >/dev/null 2>&1 && echo "y" || echo "n"':
      'y',
  },
  '7.3': {
    '{ env "CC=gcc" "LD=ld" "NM=nm" "OBJCOPY=objcopy" ./scripts/tools-support-relr.sh; } >/dev/null 2>&1 && echo "y" || echo "n"':
      'y',
  },
};
