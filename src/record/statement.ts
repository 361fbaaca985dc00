/**
 * An in-toto Statement v1 whose predicate is SLSA Provenance v1, as Quern writes it.
 * Sources: github.com/in-toto/attestation, spec/v1 (statement.md, resource_descriptor.md, digest_set.md,
 * field_types.md); slsa.dev/spec/v1.2/build-provenance.
 */

/** Algorithm to digest; the standard algorithms in lower-case hex. */
export type DigestSet = Readonly<Record<string, string>>;

/** Something an attestation speaks of. At least one of `uri`, `digest` and `content` is there. */
export interface ResourceDescriptor {
  readonly name?: string;
  readonly uri?: string;
  readonly digest?: DigestSet;
  readonly downloadLocation?: string;
  readonly mediaType?: string;
  /** Names of annotations follow the rule for extension fields: `quern_…`. */
  readonly annotations?: Readonly<Record<string, unknown>>;
}

export interface Subject extends ResourceDescriptor {
  readonly name: string;
  readonly digest: DigestSet;
}

/** What was really in force while the kernel was compiled, as the kernel of the container's own machine told it. */
export interface Isolation {
  /**
   * `chroot` where the engine could start no container and shut the build into a folder instead: then processes
   * and network are apart all the same, and devices of the machine are in sight.
   */
  readonly kind: 'container' | 'chroot';
  /** Numeric user that compiled. */
  readonly user: number;
  /** Effective and bounding capability sets, hex as in /proc/PID/status (proc(5)); all zero is what a build wants. */
  readonly capabilities: string;
  readonly bounding: string;
  readonly noNewPrivileges: boolean;
  /** Mode of seccomp: 0 off, 1 strict, 2 filter. */
  readonly seccomp: number;
  /** Network interfaces in sight; `lo` alone, or nothing, is no network. */
  readonly interfaces: readonly string[];
  readonly rootReadOnly: boolean;
  /** Limits as the control group states them: a number of bytes or processes, or `max`; empty where it states none. */
  readonly memoryLimit: string;
  readonly processLimit: string;
}

export interface Provenance {
  readonly buildDefinition: {
    readonly buildType: string;
    readonly externalParameters: Readonly<Record<string, string | readonly string[]>>;
    readonly internalParameters: Readonly<Record<string, string>>;
    readonly resolvedDependencies: readonly ResourceDescriptor[];
  };
  readonly runDetails: {
    readonly builder: { readonly id: string; readonly version: Readonly<Record<string, string>> };
    readonly metadata: {
      readonly invocationId: string;
      readonly startedOn: string;
      readonly finishedOn: string;
    };
    readonly byproducts: readonly ResourceDescriptor[];
    /** An extension field of ours, named by the rule `<vendor>_<field>`. */
    readonly quern_isolation: Isolation & { readonly network: 'none' | 'present' };
  };
}

export interface Statement {
  readonly _type: string;
  readonly subject: readonly Subject[];
  readonly predicateType: string;
  readonly predicate: Provenance;
}

/** Names of the annotations of the subject that is the kernel image. */
export const imageAnnotations = {
  /** What `uname -r` says. */
  release: 'quern_kernelRelease',
  /** What `uname -v` says. */
  versionString: 'quern_versionString',
} as const;

/** The statement as the text of `provenance.json`. */
export function formatStatement(statement: Statement): string {
  return `${JSON.stringify(statement, undefined, 2)}\n`;
}
