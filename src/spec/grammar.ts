/**
 * What each text of a spec or a lock may look like. Both come from outside, and what they hold flows on into shell
 * files, URLs, make command lines and the kernel's own banner: nothing passes that is not allowed here.
 */
export interface Grammar {
  /** Matches the whole text. Written so that a JSON Schema can carry it: Unicode mode, no other flags. */
  readonly pattern: RegExp;
  /** The rule in words, to stand behind "why". */
  readonly rule: string;
  readonly example: string;
}

export const projectName: Grammar = {
  pattern: /^[a-z0-9][a-z0-9.\-]{0,62}$/u,
  rule: 'a name is made of lower-case letters, digits, dots and dashes, begins with a letter or digit, and has at most 63 characters',
  example: 'gauge-station',
};

/** `make kernelversion` of a release, a stable release, a release candidate; or a series, which names its newest. */
export const kernelVersion: Grammar = {
  pattern: /^[1-9][0-9]{0,2}\.(?:0|[1-9][0-9]{0,2})(?:\.(?:0|[1-9][0-9]{0,3}))?(?:-rc[1-9][0-9]?)?$/u,
  rule: 'a version is a series such as "6.1" or one exact version such as "6.1.192" or "6.12-rc3"',
  example: '"6.1"',
};

/** Debian Policy 5.6.1 (names of source and binary packages) narrowed to the packages that hold kernel source. */
export const sourcePackage: Grammar = {
  pattern: /^linux-source-[a-z0-9][a-z0-9+.\-]{0,62}$/u,
  rule: "Debian's packages with kernel source are called `linux-source-` and the series",
  example: 'linux-source-6.1',
};

const segment = String.raw`[\p{L}\p{N}._+@](?:[\p{L}\p{M}\p{N}._+,=@~\-]|[ ](?=[^\/]))*`;
const path = String.raw`(?!(?:.*\/)?\.\.?(?:\/|$))${segment}(?:\/${segment})*`;

/** A file below the spec's folder. `./` in front is allowed, so that a file can bear the name of a make target. */
export const filePath: Grammar = {
  pattern: new RegExp(String.raw`^(?=.{1,1024}$)(?:\.\/)?${path}$`, 'u'),
  rule: "a path is relative to the spec's folder and stays inside it: no `/` in front, no `..`, and only letters, digits, blanks and . _ + , = @ ~ -",
  example: 'patches/0001-gauge-banner.patch',
};

const globSegment = String.raw`[\p{L}\p{N}._+@*?\[](?:[\p{L}\p{M}\p{N}._+,=@~\-*?\[\]!]|[ ](?=[^\/]))*`;
const glob = String.raw`(?!(?:.*\/)?\.\.?(?:\/|$))${globSegment}(?:\/${globSegment})*`;

/** A file below the spec's folder, or a pattern for several. */
export const patchPath: Grammar = {
  pattern: new RegExp(String.raw`^(?=.{1,1024}$)(?:\.\/)?${glob}$`, 'u'),
  rule: "a path is relative to the spec's folder and stays inside it: no `/` in front, no `..`, and only letters, digits, blanks and . _ + , = @ ~ -; `*`, `?` and `[…]` make a pattern of it",
  example: 'patches/*.patch',
};

export const folderPath: Grammar = {
  ...filePath,
  pattern: new RegExp(String.raw`^(?=.{1,1024}$)(?:\.\/)?${path}\/?$`, 'u'),
  example: 'linux',
};

const domain = String.raw`[A-Za-z0-9](?:[A-Za-z0-9\-]{0,62}\.)+[A-Za-z][A-Za-z0-9\-]{0,62}`;

/** RFC 3986 without user and fragment, in the characters that need no quoting in a shell; no port but the usual one. */
export const httpsUrl: Grammar = {
  pattern: new RegExp(
    String.raw`^(?=.{1,1024}$)https:\/\/${domain}(?:\/[A-Za-z0-9._~+:@%=,\-]*)+(?:\?[A-Za-z0-9._~+:@%=,\/\-]*)?$`,
    'u',
  ),
  rule: 'a URL begins with https:// and the name of a host; no user or password, no port, no fragment, and what is not plain is written with %',
  example: 'https://kernels.otter-bank.example/linux-6.1.119.tar.xz',
};

/** The name of an OpenPGP key that cannot be forged: that of a version 4 key, or of a version 6 key (RFC 9580 5.5.4). */
export const keyFingerprint: Grammar = {
  pattern: /^(?:[0-9A-Fa-f]{40}|[0-9A-Fa-f]{64})$/u,
  rule: 'a signer is named by the full fingerprint of the primary key, 40 or 64 hexadecimal digits without blanks: shorter names can be forged',
  example: '0123456789ABCDEF0123456789ABCDEF01234567',
};

export const keyAddress: Grammar = {
  pattern: new RegExp(String.raw`^[A-Za-z0-9][A-Za-z0-9._+\-]{0,63}@${domain}$`, 'u'),
  rule: 'a key is fetched by the address of its owner, name@domain',
  example: 'releases@otter-bank.example',
};

/** Shorter names of a commit are not unique, and names of branches move. */
export const commitName: Grammar = {
  pattern: /^[0-9a-f]{40}$/u,
  rule: 'a commit is named in full, by 40 hexadecimal digits in lower case: a shorter name may come to mean another one, and a branch moves (repositories with names of 64 digits, by SHA-256, are not read)',
  example: '0123456789abcdef0123456789abcdef01234567',
};

const tagPart = String.raw`(?!\.)(?:(?!\.\.|\.lock(?:\/|$))[A-Za-z0-9._+\-])*[A-Za-z0-9_+\-]`;

/** What git-check-ref-format(1) allows, in the characters that need no quoting in a shell. */
export const tagName: Grammar = {
  pattern: new RegExp(String.raw`^(?=.{1,255}$)(?!-)${tagPart}(?:\/${tagPart})*$`, 'u'),
  rule: 'a tag is named as git names it, without refs/tags/ in front: letters, digits and . _ + - /',
  example: 'v6.1.119',
};

export const sha256Digest: Grammar = {
  pattern: /^[0-9a-f]{64}$/u,
  rule: 'a SHA-256 digest has 64 hexadecimal digits in lower case',
  example: 'e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855',
};

/** Targets that write a whole configuration; a leading dash would make an option of them. */
const target = String.raw`(?:defconfig|tinyconfig|allnoconfig|[A-Za-z0-9][A-Za-z0-9_\-]{0,62}_defconfig)`;

export const baseTarget: RegExp = new RegExp(`^${target}$`, 'u');

export const base: Grammar = {
  pattern: new RegExp(String.raw`^(?:${target}|(?=.*[.\/])(?=.{1,1024}$)(?:\.\/)?${path})$`, 'u'),
  rule: 'a base is `defconfig`, `tinyconfig`, `allnoconfig`, a named `…_defconfig` of the tree, or the path of a `.config` file, which has a `.` or `/` in it',
  example: 'tinyconfig',
};

/** Debian's packages with the configurations that it builds its kernels with. */
export const configPackage: Grammar = {
  pattern: /^linux-config-[a-z0-9][a-z0-9+.\-]{0,62}$/u,
  rule: "Debian's packages with configurations are called `linux-config-` and the series",
  example: 'linux-config-6.1',
};

/** What such a package calls a configuration: architecture, feature set and flavour, as Debian has them. */
export const debianConfig: Grammar = {
  pattern: /^[a-z0-9][a-z0-9\-]{0,31}_[a-z0-9][a-z0-9\-]{0,31}_[a-z0-9][a-z0-9.\-]{0,62}$/u,
  rule: 'a configuration of Debian is called by architecture, feature set and flavour, with `_` between them',
  example: 'amd64_none_amd64',
};

const fragmentName = String.raw`[A-Za-z0-9_][A-Za-z0-9_.+\-]{0,126}`;

/** What `make NAME.config` takes, below kernel/configs and arch/ARCH/configs of a tree. */
export const treeFragment: Grammar = {
  pattern: new RegExp(String.raw`^(?=.{1,255}$)${fragmentName}(?:\/${fragmentName})*\.config$`, 'u'),
  rule: "a fragment of the tree is called as for `make NAME.config`: it lies in the tree's kernel/configs or arch/…/configs, and is named from there",
  example: 'kvm_guest.config',
};

/** Symbols of Kconfig that can be options: the kernel's lexer takes letters, digits and underscores. */
export const optionName: Grammar = {
  pattern: /^(?!CONFIG_|__proto__$)[A-Za-z0-9_]{1,128}$/u,
  rule: 'an option is written without `CONFIG_`, in letters, digits and underscores',
  example: 'BLK_DEV_INITRD',
};

/** Text of a string option: one line of a `.config`. */
export const optionText: Grammar = {
  pattern: /^[^\p{Cs}\u0000-\u0008\n-\u001f\u007f]{0,4096}$/u,
  rule: 'a string in a `.config` stands on one line: no line breaks or control characters, at most 4096 characters',
  example: 'otter-bank',
};

/** `KBUILD_BUILD_USER` and `KBUILD_BUILD_HOST`: parts of the banner that the kernel prints at boot. */
export const buildIdentity: Grammar = {
  pattern: /^[A-Za-z0-9][A-Za-z0-9._\-]{0,31}$/u,
  rule: "it goes into the kernel's banner: letters, digits, dots, underscores and dashes, a letter or digit first, at most 32 characters",
  example: 'otter-bank',
};

/** What may follow the version in `uname -r`. The whole release has room for 64 characters; versions take at most 14. */
export const localVersion: Grammar = {
  pattern: /^(?:[A-Za-z._+~\-][A-Za-z0-9._+~\-]{0,49})?$/u,
  rule: 'it is appended to the kernel release: letters, digits and . _ + ~ -, no digit first, at most 50 characters',
  example: '-gauge',
};
