/**
 * Relations between packages: `libc6 (>= 2.36), default-mta | mail-transport-agent, python3:any`.
 * Source: Debian Policy sections 7.1 and 7.5; the qualifiers `:any` and `:native` are of deb-control(5), Multi-Arch.
 */
import type { VersionRelation } from './debian-version.ts';

export interface Alternative {
  readonly name: string;
  /** What stands behind a colon: `any`, `native` or an architecture. */
  readonly qualifier?: string;
  readonly relation?: VersionRelation;
  readonly version?: string;
}

/** At least one of the alternatives has to be there (of a negative field: none may; it has one alternative each). */
export type Clause = readonly Alternative[];

export interface Relations {
  readonly clauses: readonly Clause[];
  /** The first part of the text that is no relation. */
  readonly malformed?: string;
}

const alternativePattern =
  /^([a-z0-9][a-z0-9+.-]*)(?::([a-z0-9][a-z0-9-]*))?\s*(?:\(\s*(<<|<=|=|>=|>>|<|>)\s*([A-Za-z0-9.+~:-]+)\s*\))?$/i;

/** `<` and `>` are old spellings that mean what one would not expect (Policy section 7.1). */
function relationOf(text: string): VersionRelation {
  switch (text) {
    case '<<':
    case '=':
    case '>=':
    case '>>':
      return text;
    case '>':
      return '>=';
    default:
      return '<=';
  }
}

function parseAlternative(text: string): Alternative | undefined {
  const found = alternativePattern.exec(text.trim());
  const [, name, qualifier, relation, version] = found ?? [];
  if (name === undefined) return undefined;
  return {
    name,
    ...(qualifier !== undefined && { qualifier }),
    ...(relation !== undefined && version !== undefined && { relation: relationOf(relation), version }),
  };
}

/** Reads the value of a `Depends`, `Pre-Depends`, `Provides`, `Conflicts` or `Breaks` field. */
export function parseRelations(text: string): Relations {
  const clauses: Clause[] = [];
  for (const part of text.split(',')) {
    // Policy allows a comma at the end.
    if (part.trim() === '') continue;
    const alternatives: Alternative[] = [];
    for (const one of part.split('|')) {
      const alternative = parseAlternative(one);
      if (!alternative) return { clauses, malformed: one.trim() };
      alternatives.push(alternative);
    }
    clauses.push(alternatives);
  }
  return { clauses };
}

export function formatAlternative({ name, qualifier, relation, version }: Alternative): string {
  const full = qualifier === undefined ? name : `${name}:${qualifier}`;
  return relation === undefined ? full : `${full} (${relation} ${version ?? ''})`;
}

export function formatClause(clause: Clause): string {
  return clause.map(formatAlternative).join(' | ');
}
