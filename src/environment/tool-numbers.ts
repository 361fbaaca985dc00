/**
 * Versions of tools as options of Kconfig have them: one number each. Sources: scripts/cc-version.sh, ld-version.sh,
 * as-version.sh, pahole-version.sh and rustc-version.sh of the trees, which make them.
 */
import type { ToolchainRequest } from './toolchain.ts';
import type { Tool } from './tools.ts';

const options: Readonly<Record<string, Tool>> = {
  AS_VERSION: 'binutils',
  CLANG_VERSION: 'llvm',
  GCC_VERSION: 'gcc',
  LD_VERSION: 'binutils',
  LLD_VERSION: 'llvm',
  PAHOLE_VERSION: 'pahole',
  RUSTC_VERSION: 'rustc',
};

/** The tool whose version an option is, where the environment builds with that tool. */
export function toolOfOption(option: string, { llvm }: ToolchainRequest): Tool | undefined {
  // clang assembles by itself
  const tool = option === 'AS_VERSION' && llvm !== undefined ? 'llvm' : options[option];
  const unused: readonly (Tool | undefined)[] = llvm === undefined ? ['llvm'] : ['gcc', 'binutils'];
  return unused.includes(tool) ? undefined : tool;
}

/** What the parts of a version are multiplied by. */
function weights(option: string, sample: number): readonly number[] {
  if (option === 'PAHOLE_VERSION') return [100, 1];
  if (option === 'RUSTC_VERSION') return [100_000, 100, 1];
  // that of the linker, before scripts/ld-version.sh was rewritten for 5.12
  return sample >= 100_000_000 ? [100_000_000, 1_000_000, 10_000] : [10_000, 100, 1];
}

/** @param beside a number of the same option, to tell how the tree makes it */
export function versionNumber(option: string, version: string, beside: number): number {
  const parts = version.split('.').map(Number);
  return weights(option, beside).reduce((sum, weight, nth) => sum + weight * (parts[nth] ?? 0), 0);
}

export function numberedVersion(option: string, number: number): string {
  let rest = number;
  const parts = weights(option, number).map((weight) => {
    const part = Math.floor(rest / weight);
    rest -= part * weight;
    return part;
  });
  return parts.join('.');
}

const relations = ['<', '<=', '>', '>=', '=', '!='] as const;
const words: Readonly<Record<(typeof relations)[number], string>> = {
  '<': 'before',
  '<=': 'up to',
  '>': 'after',
  '>=': 'from',
  '=': 'exactly',
  '!=': 'other than',
};

/** A comparison of a tool's version with a number. */
export interface VersionBound {
  readonly option: string;
  readonly relation: (typeof relations)[number];
  readonly number: number;
}

/** @param comparison `>= 122` */
export function readBound(option: string, comparison: string): VersionBound | undefined {
  const [, sign, number] = /^([<>=!]+) (\d+)$/u.exec(comparison) ?? [];
  const relation = relations.find((one) => one === sign);
  return relation && { option, relation, number: Number(number) };
}

export function isWithin(version: string, { option, relation, number }: VersionBound): boolean {
  const difference = versionNumber(option, version, number) - number;
  switch (relation) {
    case '<':
      return difference < 0;
    case '<=':
      return difference <= 0;
    case '>':
      return difference > 0;
    case '>=':
      return difference >= 0;
    case '=':
      return difference === 0;
    case '!=':
      return difference !== 0;
  }
}

/** `from 12.0.0 and before 12.4.0` */
export function boundsText(bounds: readonly VersionBound[]): string {
  return bounds
    .map(({ option, relation, number }) => `${words[relation]} ${numberedVersion(option, number)}`)
    .join(' and ');
}
