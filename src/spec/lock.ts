/**
 * The lock: every input of a build pinned by digest, and every answer that the pinned environment gave.
 * Digests are lower-case hex SHA-256; sizes are bytes; dates are RFC 3339 in UTC.
 */
import type { PatchOptions, Spec } from './spec.ts';

export interface FilePin {
  /** Relative to the spec's folder. */
  readonly path: string;
  readonly sha256: string;
}

/** A patch, whichever item of the spec it comes from; and how it is applied, where that is not as usual. */
export type PatchPin = FilePin & PatchOptions;

/** One file in a Debian archive. */
export interface ArchivePin {
  /** Key into `Inputs.origins`. */
  readonly origin: string;
  /** Path below the origin: `pool/main/b/bc/bc_1.07.1-3+b1_amd64.deb`. */
  readonly path: string;
  readonly size: number;
  readonly sha256: string;
}

export interface PackagePin extends ArchivePin {
  readonly package: string;
  readonly version: string;
  readonly architecture: string;
  /** In the closure of the Essential packages: unpacked first, by hand, so that dpkg can run and unpack the rest. */
  readonly essential: boolean;
}

/** One layer of an image: a tar archive of what it changes. */
export interface LayerPin {
  readonly sha256: string;
  readonly size: number;
  readonly compression: 'none' | 'gzip' | 'zstd';
  /** SHA-256 of the tar archive itself, which the image names as well. */
  readonly unpacked: string;
}

/** A configuration out of a package of the archive. */
export interface PackagedConfigPin extends ArchivePin {
  readonly package: string;
  readonly version: string;
  /** Architecture, feature set and flavour: `amd64_none_amd64`. */
  readonly config: string;
  /** SHA-256 of the configuration, unpacked. */
  readonly content: string;
}

/** A `.config` that a spec begins with: a file beside it, or one out of a package. */
export type BasePin = FilePin | PackagedConfigPin;

/** Whether a base is out of a package. */
export function isPackaged(base: BasePin): base is PackagedConfigPin {
  return 'package' in base;
}

/** An image in a registry (OCI image specification). */
export interface RegistryImage {
  readonly registry: string;
  readonly repository: string;
  /** What the digests were found by; absent when the spec names the image by its digest alone. */
  readonly tag?: string;
  /** SHA-256 of the list of manifests that the reference leads to, when the image is made for several platforms. */
  readonly index?: string;
  /** SHA-256 of the manifest for the platform of the environment. */
  readonly manifest: string;
  /** As Debian calls it, and the image specification as well: `amd64`. */
  readonly architecture: string;
  /** The lowest first. */
  readonly layers: readonly LayerPin[];
}

/** The image that an environment begins with. */
export interface ImagePin extends RegistryImage {
  /** Of the packages that the configuration takes, those that are in it; sorted. */
  readonly packages: readonly string[];
}

/** A place that files are fetched from, and where they can still be had when they have left it. */
export interface Origin {
  /** `http://deb.debian.org/debian`, no trailing slash. */
  readonly url: string;
  /** A copy of the archive as it was at the date of the index; tried when `url` no longer has a file. */
  readonly snapshot?: string;
}

/** A signed index that packages were read from. */
export interface IndexPin {
  readonly origin: string;
  readonly suite: string;
  /** `Date` of its InRelease file. */
  readonly date: string;
  /** Full fingerprint of the primary key that signed it. */
  readonly signer: string;
}

export type SourcePin =
  | (ArchivePin & {
      readonly kind: 'debian';
      readonly package: string;
      readonly version: string;
    })
  | (FilePin & { readonly kind: 'tarball'; readonly size: number })
  /** A tree on disk, packed as a sorted tar with every time clamped: digest and size are those of that tar. */
  | (FilePin & { readonly kind: 'tree'; readonly size: number })
  | RemotePin
  | GitPin;

/** A tarball that was fetched. What is signed, and what counts, is the tar inside: in any compression, from anywhere. */
export type RemotePin = RemoteFacts & ({ readonly kind: 'release' } | { readonly kind: 'url' });

interface RemoteFacts extends Authenticity {
  /** Where it is to be had, in order. */
  readonly urls: readonly string[];
  /** Of the file as it was when it was pinned. */
  readonly size: number;
  readonly sha256: string;
  readonly tar: { readonly size: number; readonly sha256: string };
}

/** A commit of a git repository; digest and size are those of the tar that is made of it. */
export interface GitPin extends Authenticity {
  readonly kind: 'git';
  readonly url: string;
  /** What the commit was found by. */
  readonly tag?: string;
  readonly commit: string;
  /** Its tree, as git names it. */
  readonly tree: string;
  readonly size: number;
  readonly sha256: string;
}

interface Authenticity {
  /** Absent when nothing but a digest or a commit was asked for. */
  readonly signature?: SignaturePin;
  /** The file that the keys were read from. */
  readonly keyring?: FilePin;
  /** The keys that were fetched, so that this is done once. */
  readonly keys: readonly KeyPin[];
}

/** The signature by which a source was found authentic. */
export interface SignaturePin {
  /** Of the signature file, or of the signature in a tag. */
  readonly sha256: string;
  /** Full fingerprint of the primary key. */
  readonly signer: string;
  readonly made: string;
}

export interface KeyPin {
  readonly address: string;
  /** Of the signer's primary key among those that the address has. */
  readonly fingerprint: string;
  readonly sha256: string;
  /** The key, as it was published, in base64. */
  readonly content: string;
}

/** The source, and where it and other files may come from. */
export interface SourceInputs {
  readonly origins: Readonly<Record<string, Origin>>;
  readonly source: SourcePin;
}

export interface Inputs extends SourceInputs {
  readonly indexes: readonly IndexPin[];
  /** Absent when the spec's base is a target of the tree. */
  readonly base?: BasePin;
  /** Those beside the spec: the tree's are pinned with it. */
  readonly fragments: readonly FilePin[];
  /** In the order in which they are applied. */
  readonly patches: readonly PatchPin[];
  /** Present when the spec names an image. */
  readonly image?: ImagePin;
  /** Sorted by package name; of an environment that begins with an image, those that it lacks. */
  readonly packages: readonly PackagePin[];
}

/** What the environment said when it was asked, without network, and what follows from it. */
export interface Answers {
  /** Program to its first line of `--version`: gcc, ld, make … */
  readonly toolchain: Readonly<Record<string, string>>;
  /** What the kernel's Makefile gives to the commands of its Kconfig files: `ARCH`, `CC`, `CC_VERSION_TEXT` … */
  readonly variables: Readonly<Record<string, string>>;
  /**
   * Command to what it printed, in latin1, of everything that the tree's Kconfig files and Makefiles ask by `$(shell …)`.
   * The tree is `.` in both.
   */
  readonly probes: Readonly<Record<string, string>>;
  /** SHA-256 of the Kconfig pack of the source, as it is without patches. */
  readonly pack: string;
  /**
   * SHA-256 of what the patches leave: a line `MODE SHA256 PATH` for each file that they touch. Absent without patches, and
   * where it has not been found out.
   */
  readonly patched?: string;
  /** `make kernelversion` of the patched tree. */
  readonly kernelVersion: string;
  /** `make kernelrelease` with the resolved configuration: what `uname -r` will say. */
  readonly kernelRelease: string;
  /** What `uname -v` will say, cut to 64 bytes as the kernel's build does. */
  readonly versionString: string;
  /** Seconds since 1970: the spec's epoch, else the newest time in the source tar. */
  readonly epoch: number;
  /** SHA-256 of the resolved `.config`. */
  readonly config: string;
}

export interface Lock {
  readonly lock: 1;
  /** The spec that was pinned, normalised: a spec that differs from it no longer matches this lock. */
  readonly spec: Spec;
  readonly inputs: Inputs;
  /** Absent between the two steps of `pin`. */
  readonly answers?: Answers;
}
