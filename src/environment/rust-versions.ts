/**
 * Trees whose Rust is young (6.1; 6.12 no longer) expect one version of rustc and bindgen each, that which
 * scripts/min-tool-version.sh has, and say of newer ones that they may or may not work (scripts/rust_is_available.sh).
 */
import { isAtLeast, type Minimum } from './minimum-versions.ts';
import { toolVersion, type KnownEnvironment, type Tool } from './tools.ts';

export const rustScript = 'scripts/rust_is_available.sh';

/** A tool that is newer than the tree expects. */
export interface NewTool {
  readonly tool: Tool;
  readonly has: string;
  readonly expected: string;
  /** Where the script says so. */
  readonly line: number;
}

const programs = [
  ['rustc', /^\techo >&2 "\*\*\* Rust compiler '\$RUSTC' is too new\./u],
  ['bindgen', /^\techo >&2 "\*\*\* Rust bindings generator '\$BINDGEN' is too new\./u],
] as const;

export function newTools(
  script: string,
  minimums: ReadonlyMap<Tool, Minimum>,
  used: readonly Tool[],
  environment: KnownEnvironment,
): readonly NewTool[] {
  const lines = script.split('\n');
  return programs.flatMap(([tool, says]): NewTool[] => {
    const line = lines.findIndex((one) => says.test(one)) + 1;
    const expected = minimums.get(tool)?.version;
    const has = toolVersion(tool, environment);
    if (line === 0 || expected === undefined || !used.includes(tool)) return [];
    return isAtLeast(has, expected) && !isAtLeast(expected, has) ? [{ tool, has, expected, line }] : [];
  });
}
