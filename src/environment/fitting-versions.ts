/** Which release of Debian has a tool in a version that fits, in words. */
import type { DebianRelease } from '../spec/spec.ts';
import {
  knownReleases,
  toolFacts,
  toolVersion,
  versionsIn,
  type KnownEnvironment,
  type Tool,
} from './tools.ts';

/** Where a version that is told comes from: `Debian bookworm has 12.2.0`. */
export function toolText(tool: Tool, environment: KnownEnvironment): string {
  const { debian, gcc, llvm } = environment.request;
  const asked = tool === 'llvm' ? llvm : tool === 'gcc' ? gcc : undefined;
  return asked === undefined
    ? `Debian ${debian} has ${toolVersion(tool, environment)}`
    : `the spec asks for ${asked}`;
}

/** What to do: another version of the same release, or another release, newer ones first, or neither. */
export function fittingAdvice(
  tool: Tool,
  { request: { debian: own } }: KnownEnvironment,
  fits: (version: string) => boolean,
): string {
  const fitting = (debian: DebianRelease): readonly string[] => versionsIn(debian, tool).filter(fits);
  const key = tool === 'gcc' || tool === 'llvm' ? tool : undefined;
  if (key !== undefined && fitting(own).length > 0) {
    const majors = fitting(own).map((version) => Number.parseInt(version, 10));
    return `Ask for another one that Debian ${own} has (environment.${key}: ${listed(majors, 'or')}).`;
  }
  const newer = knownReleases.slice(knownReleases.indexOf(own) + 1);
  const older = knownReleases.slice(0, knownReleases.indexOf(own));
  const others = [...newer, ...older].filter((debian) => fitting(debian).length > 0);
  const [first] = others;
  if (first === undefined) {
    const { name } = toolFacts[tool];
    return `No release of Debian that is known here has ${name} in a version that fits: take another kernel.`;
  }
  const versions = others.map((debian) => `${debian} has ${listed(fitting(debian), 'and')}`);
  return `Take another release (environment.debian: ${first}): ${listed(versions, 'and')}.`;
}

function listed(items: readonly (string | number)[], word: 'and' | 'or'): string {
  const last = items.slice(-1).join('');
  return items.length < 2 ? last : `${items.slice(0, -1).join(', ')} ${word} ${last}`;
}
