/**
 * The programs whose versions kernel trees speak of, what each is called there and in Debian, and which versions the
 * releases have.
 */
import type { DebianRelease } from '../spec/spec.ts';
import { architectureFacts } from './architectures.ts';
import type { Need } from './need.ts';
import { compilerVersion, type ToolchainRequest } from './toolchain.ts';

interface ToolFacts {
  /** In a sentence. */
  readonly name: string;
  /** In the table of the tree's Documentation/process/changes.rst. */
  readonly listed: string;
  /** Packages that have it, any of them; those of compilers and binutils follow from the spec. */
  readonly packages: readonly string[];
}

/** Those that builds take, by the names of scripts/min-tool-version.sh where that knows them. */
export type Tool =
  | 'bash'
  | 'bc'
  | 'bindgen'
  | 'binutils'
  | 'bison'
  | 'cpio'
  | 'flex'
  | 'gcc'
  | 'kmod'
  | 'llvm'
  | 'make'
  | 'openssl'
  | 'pahole'
  | 'python'
  | 'rustc'
  | 'tar';
/** Of which a release has several versions beside each other. */
type Compiler = 'gcc' | 'llvm';

export const toolFacts: Readonly<Record<Tool, ToolFacts>> = {
  bash: { name: 'bash', listed: 'bash', packages: ['bash'] },
  bc: { name: 'bc', listed: 'bc', packages: ['bc'] },
  bindgen: { name: 'bindgen', listed: 'bindgen', packages: ['bindgen'] },
  binutils: { name: 'the binutils', listed: 'binutils', packages: [] },
  bison: { name: 'bison', listed: 'bison', packages: ['bison'] },
  cpio: { name: 'cpio', listed: 'cpio', packages: ['cpio'] },
  flex: { name: 'flex', listed: 'flex', packages: ['flex'] },
  gcc: { name: 'gcc', listed: 'GNU C', packages: [] },
  kmod: { name: 'kmod', listed: 'kmod', packages: ['kmod'] },
  llvm: { name: 'clang', listed: 'Clang/LLVM', packages: [] },
  make: { name: 'make', listed: 'GNU make', packages: ['make'] },
  openssl: { name: 'openssl', listed: 'openssl & libcrypto', packages: ['libssl-dev', 'openssl'] },
  pahole: { name: 'pahole', listed: 'pahole', packages: ['dwarves'] },
  python: { name: 'python3', listed: 'Python', packages: ['python3'] },
  rustc: { name: 'rustc', listed: 'Rust', packages: ['rustc'] },
  tar: { name: 'tar', listed: 'GNU tar', packages: ['tar'] },
};

export const tools: readonly Tool[] = (Object.keys(toolFacts) as Tool[]).sort();

export interface ReleaseTools extends Readonly<Record<Exclude<Tool, Compiler>, string>> {
  /** The oldest first. */
  readonly gcc: readonly string[];
  readonly llvm: readonly string[];
}

/**
 * Upstream versions in the releases. Source: Debian's packages of these names; of compilers those that the release came
 * with and the ones that it was given later, for as long as it keeps them.
 */
export const releaseTools: Readonly<Record<DebianRelease, ReleaseTools>> = {
  bullseye: {
    bash: '5.1',
    bc: '1.07.1',
    bindgen: '0.55.1',
    binutils: '2.35.2',
    bison: '3.7.5',
    cpio: '2.13',
    flex: '2.6.4',
    gcc: ['9.3.0', '10.2.1'],
    kmod: '28',
    llvm: ['9.0.1', '11.0.1', '13.0.1', '16.0.6', '19.1.7'],
    make: '4.3',
    openssl: '1.1.1',
    pahole: '1.20',
    python: '3.9.2',
    rustc: '1.48.0',
    tar: '1.34',
  },
  bookworm: {
    bash: '5.2.15',
    bc: '1.07.1',
    bindgen: '0.60.1',
    binutils: '2.40',
    bison: '3.8.2',
    cpio: '2.13',
    flex: '2.6.4',
    gcc: ['11.3.0', '12.2.0'],
    kmod: '30',
    llvm: ['13.0.1', '14.0.6', '15.0.6', '16.0.6', '19.1.7'],
    make: '4.3',
    openssl: '3.0',
    pahole: '1.24',
    python: '3.11.2',
    rustc: '1.63.0',
    tar: '1.34',
  },
  trixie: {
    bash: '5.2.37',
    bc: '1.07.1',
    bindgen: '0.71.1',
    binutils: '2.44',
    bison: '3.8.2',
    cpio: '2.15',
    flex: '2.6.4',
    gcc: ['12.4.0', '13.3.0', '14.2.0'],
    kmod: '34.2',
    llvm: ['17.0.6', '18.1.8', '19.1.7'],
    make: '4.4.1',
    openssl: '3.5',
    pahole: '1.30',
    python: '3.13.5',
    rustc: '1.85.1',
    tar: '1.35',
  },
};

/** The oldest first. */
export const knownReleases: readonly DebianRelease[] = ['bullseye', 'bookworm', 'trixie'];

/** An environment, as far as it is known: what the spec asks for, and the versions of a lock's packages, by name. */
export interface KnownEnvironment {
  readonly request: ToolchainRequest;
  readonly packages: ReadonlyMap<string, string>;
}

/** The version of a tool in an environment: that of its package, else what the release has. Of a compiler that no release
 * is known to have, the major version alone. */
export function toolVersion(tool: Tool, { request, packages }: KnownEnvironment): string {
  const pinned = packagesOf(tool, request).flatMap((name) => packages.get(name) ?? []);
  const upstream = /^(?:\d+:)?(\d+(?:\.\d+)*)/u.exec(pinned[0] ?? '')?.[1];
  if (upstream !== undefined) return upstream;
  if (tool !== 'gcc' && tool !== 'llvm') return releaseTools[request.debian][tool];
  const major = tool === 'gcc' ? compilerVersion(request) : (request.llvm ?? 0);
  return releaseTools[request.debian][tool].find((one) => one.startsWith(`${major}.`)) ?? String(major);
}

/** Packages of an environment that have a tool. */
function packagesOf(tool: Tool, request: ToolchainRequest): readonly string[] {
  const { cross } = architectureFacts(request.arch).build ?? {};
  const suffix = cross === undefined ? '' : `-${cross}`;
  // the package with the number is the compiler, the one without only depends on it
  if (tool === 'gcc') return [`gcc-${compilerVersion(request)}${suffix}`];
  if (tool === 'llvm') return request.llvm === undefined ? [] : [`clang-${request.llvm}`];
  if (tool === 'binutils') return [`binutils${suffix}`];
  return toolFacts[tool].packages;
}

/** Part of every environment, without anybody needing it by name. */
const essential: readonly Tool[] = ['bash', 'tar'];

/** The tools that a kernel is built with. */
export function usedTools({ llvm }: ToolchainRequest, needs: readonly Need[]): readonly Tool[] {
  const needed = new Set(needs.map((need) => need.package));
  const compilers: readonly Tool[] = llvm === undefined ? ['gcc', 'binutils'] : ['llvm'];
  const used = (tool: Tool): boolean =>
    compilers.includes(tool) ||
    essential.includes(tool) ||
    toolFacts[tool].packages.some((name) => needed.has(name));
  return tools.filter(used);
}

/** Versions of a tool that a release has: what one may ask for, of compilers; all of them the one, of the others. */
export function versionsIn(debian: DebianRelease, tool: Tool): readonly string[] {
  return [releaseTools[debian][tool]].flat();
}
