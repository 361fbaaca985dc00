/** The spec as the rest of the house sees it: read, checked, defaults filled in. `read-spec.ts` makes it from YAML. */
import type { Architecture } from '../environment/architectures.ts';

export const debianReleases = ['bullseye', 'bookworm', 'trixie'] as const;
export type DebianRelease = (typeof debianReleases)[number];

export const outputKinds = [
  'image',
  'modules',
  'vmlinux',
  'dtbs',
  'headers',
  'extmod-build',
  'debug',
  'deb',
] as const;
export type OutputKind = (typeof outputKinds)[number];

/** Where the kernel's source comes from. Paths are relative to the spec's folder and stay inside it. */
export type SpecSource =
  | { readonly kind: 'debian'; readonly package: string }
  | { readonly kind: 'tarball'; readonly path: string }
  | { readonly kind: 'tree'; readonly path: string }
  | RemoteSource
  | GitSource;

export const releaseSites = ['kernel.org'] as const;
export type ReleaseSite = (typeof releaseSites)[number];

/** Whose signature makes a fetched source authentic, and where their keys are. */
export interface Signers {
  /** Full fingerprints of primary keys, in upper case. */
  readonly signers: readonly string[];
  /** Path of a file with their keys. */
  readonly keyring?: string;
  /** Addresses that their keys are fetched by, once. */
  readonly keys: readonly string[];
}

/** The tarball of a release, by the exact `kernel.version`. */
export interface ReleaseSource extends Signers {
  readonly kind: 'release';
  readonly site: ReleaseSite;
  /** Fingerprint of the key that signs the site's list of digests; the list is looked at when it is given. */
  readonly sums?: string;
}

/** A tarball at URLs of which any will do. */
export interface UrlSource extends Signers {
  readonly kind: 'url';
  readonly urls: readonly string[];
  /** Of the file, or of the tar inside. */
  readonly sha256?: string;
  readonly signature?:
    { readonly kind: 'url'; readonly url: string } | { readonly kind: 'file'; readonly path: string };
}

export type RemoteSource = ReleaseSource | UrlSource;

/** A commit of a git repository: named itself, or by a tag, or by both, which then must agree. */
export interface GitSource extends Signers {
  readonly kind: 'git';
  readonly url: string;
  /** By the signers, where there are any. */
  readonly tag?: string;
  /** In full. */
  readonly commit?: string;
}

/** A tarball that is fetched, and is no package of an archive. */
export function isRemote<Source extends { readonly kind: string }>(
  source: Source,
): source is Extract<Source, { readonly kind: 'release' | 'url' }> {
  return source.kind === 'release' || source.kind === 'url';
}

/** A source that is fetched from where its author has it: it may be signed, and stays what it was pinned as. */
export function isFetched<Source extends { readonly kind: string }>(
  source: Source,
): source is Extract<Source, { readonly kind: 'release' | 'url' | 'git' }> {
  return isRemote(source) || source.kind === 'git';
}

/** What the configuration starts from. Paths are relative to the spec's folder and stay inside it. */
export type SpecBase =
  /** A make target of the tree: `tinyconfig`, `x86_64_defconfig`. */
  | { readonly kind: 'target'; readonly target: string }
  /** A `.config`. */
  | { readonly kind: 'file'; readonly path: string }
  /** That of the machine at which the spec is pinned first; from then on what was kept of it at `path`. */
  | { readonly kind: 'running'; readonly path: string }
  /** One that Debian builds a kernel with: the file `config.CONFIG.xz` of a package of the environment's release. */
  | { readonly kind: 'debian'; readonly package: string; readonly config: string };

/** Options that are laid over the base: a file beside the spec, or what `make NAME.config` merges out of the tree. */
export type SpecFragment = string | { readonly tree: string };

/** One option value asked for by the spec's `set`. */
export interface SetOption {
  /** Without the `CONFIG_` prefix. */
  readonly option: string;
  /** As it stands behind `CONFIG_X=` in a `.config`: `y`, `m`, `n`, `16`, `0x10`, or a quoted, escaped string. */
  readonly value: string;
}

/** How a patch is applied where it is not as usual: one folder of its names left out, forwards, without fuzz. */
export interface PatchOptions {
  /** How many folders in front of its names are left out. */
  readonly strip?: number;
  /** It is taken back. */
  readonly reverse?: boolean;
  /** How many lines of context at either end of a hunk need not be there. */
  readonly fuzz?: number;
}

/** One item of `patches`: a file, a pattern of files in the order of their bytes, or a quilt series. */
export type SpecPatch =
  | string
  | (PatchOptions & { readonly path: string })
  | (Omit<PatchOptions, 'reverse'> & { readonly series: string });

export interface Spec {
  readonly name: string;
  readonly kernel: { readonly version: string; readonly source: SpecSource };
  readonly arch: Architecture;
  readonly config: {
    readonly base: SpecBase;
    /** In the order in which they are applied. */
    readonly fragments: readonly SpecFragment[];
    readonly set: readonly SetOption[];
  };
  /** In the order in which they are applied. */
  readonly patches: readonly SpecPatch[];
  readonly environment: {
    readonly debian: DebianRelease;
    /** A reference to an image, as it is written. */
    readonly image?: string;
    /** RFC 3339 in UTC: packages are those that the archive had then. */
    readonly snapshot?: string;
    /** Major version of gcc; the release's own when absent. */ readonly gcc?: number;
    /** Major version of clang and its linker, which then compile instead of gcc. */ readonly llvm?: number;
  };
  /** Appended to the kernel release; empty when absent. */
  readonly localversion: string;
  readonly build: {
    readonly user: string;
    readonly host: string;
    /** Seconds since 1970-01-01T00:00:00Z; absent: the newest time in the source tar. */
    readonly epoch?: number;
  };
  readonly outputs: readonly OutputKind[];
}
