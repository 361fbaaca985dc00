/**
 * What a tree says that its tools must be at least, in scripts/min-tool-version.sh (in trees since 5.12; older ones say it
 * nowhere that could be read), against what releases of Debian have.
 */
import type { DebianRelease } from '../spec/spec.ts';
import { compilerVersion, type ToolchainRequest } from './toolchain.ts';

type Tool = 'binutils' | 'bindgen' | 'gcc' | 'llvm' | 'rustc';

/** Upstream versions in the releases, where there is one of each. Source: Debian's packages of these names. */
export const releaseTools: Readonly<
  Record<DebianRelease, Readonly<Record<'binutils' | 'bindgen' | 'rustc', string>>>
> = {
  bullseye: { binutils: '2.35.2', bindgen: '0.55.1', rustc: '1.48.0' },
  bookworm: { binutils: '2.40', bindgen: '0.60.1', rustc: '1.63.0' },
  trixie: { binutils: '2.44', bindgen: '0.71.1', rustc: '1.85.1' },
};

export const minimumVersionScript = 'scripts/min-tool-version.sh';

/** The exported variables that the script looks at. */
export interface ScriptVariables {
  readonly ARCH: string;
  readonly SRCARCH: string;
}

/**
 * What the script prints for a tool: of its `case`, the branch of the tool, in which an `if` may tell architectures apart.
 *
 * @returns `undefined` when it knows no such tool
 */
export function minimumVersion(script: string, tool: Tool, variables: ScriptVariables): string | undefined {
  const branch = new RegExp(`^${tool}\\)\\n(.*?)^\\t;;`, 'ms').exec(script)?.[1] ?? '';
  let taken = true;
  for (const line of branch.split('\n')) {
    const [, name, value] = /if \[ "\$(ARCH|SRCARCH)" = "?(\w+)"? \]/u.exec(line) ?? [];
    if (name === 'ARCH' || name === 'SRCARCH') taken = variables[name] === value;
    // the branch before it was not taken, or its echo would have ended this
    else if (/^\s*(?:else|fi)$/u.test(line)) taken = true;
    const version = /^\s*echo (\d[\d.]*)$/u.exec(line)?.[1];
    if (taken && version !== undefined) return version;
  }
  return undefined;
}

/** A tool of the environment that the tree does not take. */
export interface OldTool {
  readonly tool: Tool;
  readonly has: string;
  readonly needs: string;
  /** Releases of Debian whose own is new enough. */
  readonly releases: readonly DebianRelease[];
}

/** @param rust the configuration wants Rust */
export function oldTools(
  script: string,
  variables: ScriptVariables,
  choice: Omit<ToolchainRequest, 'arch'>,
  rust: boolean,
): readonly OldTool[] {
  const tools: readonly Tool[] = [
    ...(choice.llvm === undefined ? (['gcc', 'binutils'] as const) : (['llvm'] as const)),
    ...(rust ? (['rustc', 'bindgen'] as const) : []),
  ];
  return tools.flatMap((tool) => {
    const needs = minimumVersion(script, tool, variables);
    const has = versionOf(tool, choice);
    if (needs === undefined || isEnough(has, needs)) return [];
    const releases = (['bullseye', 'bookworm', 'trixie'] as const).filter((debian) =>
      isEnough(versionOf(tool, { debian, ...(tool === 'llvm' && { llvm: choice.llvm ?? 0 }) }), needs),
    );
    return [{ tool, has, needs, releases }];
  });
}

function versionOf(tool: Tool, choice: Omit<ToolchainRequest, 'arch'>): string {
  if (tool === 'gcc') return String(compilerVersion(choice));
  if (tool === 'llvm') return String(choice.llvm);
  return releaseTools[choice.debian][tool];
}

/** Of a compiler the major version alone may be known: that counts as its newest. */
function isEnough(has: string, needs: string): boolean {
  const [is, wanted] = [has, needs].map((version) => version.split('.').map(Number));
  for (const [place, least] of (wanted ?? []).entries()) {
    const part = is?.[place];
    if (part === undefined || part > least) return true;
    if (part < least) return false;
  }
  return true;
}
