/** What stands in a build log where it went wrong. */
export interface FirstError {
  /** 1-based line of the log. */
  readonly line: number;
  readonly text: string;
  /** What the words usually mean, where known. */
  readonly meaning?: string;
}

/** Words that begin the trouble; what make prints afterwards only says that something before it failed. */
const trouble =
  /(?:^|[^a-z])(?:fatal )?error: |: undefined reference to |No rule to make target|: not found$|No space left on device|\bKilled\b|Segmentation fault/u;

/** Words of kernel build logs and what they usually mean: common practice. */
const meanings: readonly (readonly [RegExp, string])[] = [
  [
    /No rule to make target .*\.pem/u,
    'The configuration names a key file that the source does not have. Set SYSTEM_TRUSTED_KEYS, SYSTEM_REVOCATION_KEYS or MODULE_SIG_KEY to "" in the spec, or bring the file.',
  ],
  [
    /openssl\/\w+\.h: No such file/u,
    'The headers of OpenSSL are missing: module signing and the trusted keyring need them.',
  ],
  [
    /(?:gelf|libelf)\.h: No such file/u,
    'The headers of libelf are missing: objtool and the ORC unwinder need them.',
  ],
  [/Cannot generate ORC metadata/u, 'The headers of libelf are missing: the ORC unwinder needs them.'],
  [
    /(?:flex|bison|bc|lz4c?|zstd|cpio|pahole): not found/u,
    'A program that this configuration needs is not in the environment.',
  ],
  [/pahole \(pahole\) is not available/u, 'DEBUG_INFO_BTF needs pahole, from the package dwarves.'],
  [/FAILED: load BTF from vmlinux/u, 'This pahole and this tree do not fit, or pahole ran out of memory.'],
  [
    /multiple definition of .yylloc/u,
    'The compiler is newer than this tree expects (gcc 10 and later): choose an older release for the environment.',
  ],
  [
    /cannot use keyword .false. as enumeration constant/u,
    'The compiler is newer than this tree expects (gcc 15 and later): choose an older release for the environment.',
  ],
  [/\[-Werror/u, 'WERROR turns warnings into errors: set WERROR to n, or mend the code.'],
  [/No space left on device/u, "The engine's disk is full."],
  [
    /\bKilled\b/u,
    'The system killed a program, most likely for want of memory: fewer compilers at once (--jobs) need less.',
  ],
];

/** The first real error of a build log, or nothing where none is recognised. */
export function firstError(log: string): FirstError | undefined {
  let line = 0;
  for (const text of log.split('\n')) {
    line += 1;
    if (!trouble.test(text) || /^make(?:\[\d+\])?: \*\*\* \[/u.test(text)) continue;
    const meaning = meanings.find(([words]) => words.test(text))?.[1];
    return { line, text: text.trim(), ...(meaning !== undefined && { meaning }) };
  }
  return undefined;
}
