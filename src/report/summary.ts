import type { Isolation } from '../record/statement.ts';
import { fillTemplate, type Quoting } from './fill-template.ts';
import { quoteMarkdown, quoteMarkdownCode, quoteMarkdownSentence } from './markdown.ts';

export interface SummaryRequest {
  readonly option: string;
  readonly requested: string;
  /** `null` for an option that has no value. */
  readonly value: string | null;
  /** `kept`, or what became of it instead. */
  readonly verdict: string;
  /** Why, in a sentence or two. */
  readonly message: string;
}

export interface SummaryFacts {
  readonly name: string;
  readonly arch: string;
  readonly kernelVersion: string;
  /** What `uname -r` says. */
  readonly release: string;
  /** What `uname -v` says. */
  readonly versionString: string;
  readonly artefacts: readonly {
    readonly name: string;
    /** Bytes. */ readonly size: number;
    readonly sha256: string;
  }[];
  readonly requests: readonly SummaryRequest[];
  /** Spec, lock, source, base, fragments, patches: what a person may want to look up. */
  readonly inputs: readonly { readonly role: string; readonly name: string; readonly sha256: string }[];
  /** How many packages the environment was made of. */
  readonly packages: number;
  /** Version of Quern. */
  readonly quern: string;
  readonly engine: { readonly name: string; readonly version: string };
  readonly jobs: number;
  /** Program to its first line of `--version`. */
  readonly toolchain: Readonly<Record<string, string>>;
  readonly isolation: Isolation;
  readonly startedOn: Date;
  readonly finishedOn: Date;
}

/** Each value goes through the one for its place; templates have no other way to print one. */
export const markdownQuoting: Quoting = {
  text: quoteMarkdown,
  sentence: quoteMarkdownSentence,
  code: quoteMarkdownCode,
};

/**
 * Renders `summary.md`, in GitHub Flavored Markdown.
 *
 * `template` is the text of `templates/summary.md.hbs`. A value that the template names and the facts lack is a bug
 * and throws.
 */
export function renderSummary(facts: SummaryFacts, template: string): string {
  return fillTemplate(template, buildView(facts), markdownQuoting);
}

function buildView(facts: SummaryFacts): object {
  const { name, arch, kernelVersion, release, versionString, inputs } = facts;
  return {
    name,
    arch,
    kernelVersion,
    release,
    versionString,
    inputs,
    artefacts: facts.artefacts.map(({ size, ...rest }) => ({ ...rest, size: formatSize(size) })),
    requests: {
      summary: countVerdicts(facts.requests),
      attention: facts.requests
        .filter(({ verdict }) => verdict !== 'kept')
        .map((request) => ({ ...request, value: request.value ?? 'no value' })),
    },
    packages: count(facts.packages, 'package'),
    quern: `quern ${facts.quern}`,
    engine: `${facts.engine.name} ${facts.engine.version}`,
    started: facts.startedOn.toISOString().replace(/\.\d+Z$/, 'Z'),
    took: formatTime(facts.finishedOn.getTime() - facts.startedOn.getTime()),
    jobs: String(facts.jobs),
    toolchain: Object.entries(facts.toolchain).map(([program, version]) => ({ program, version })),
    isolation: describeIsolation(facts.isolation),
  };
}

/** `20, all kept.`, or how many of each verdict there are. */
export function countVerdicts(requests: readonly SummaryRequest[]): string {
  if (requests.length === 0) return 'The spec asks for no option beyond its base.';
  const counts = new Map<string, number>();
  for (const { verdict } of requests) counts.set(verdict, (counts.get(verdict) ?? 0) + 1);
  const others = [...counts]
    .filter(([verdict]) => verdict !== 'kept')
    .map(([verdict, times]) => `${times} ${verdict}`);
  const total = count(requests.length, 'request');
  if (others.length === 0) return `${total}, all kept.`;
  return `${total} (${[`${counts.get('kept') ?? 0} kept`, ...others].join(', ')}).`;
}

function describeIsolation(isolation: Isolation): { what: string; value: string }[] {
  const yes = (value: boolean): string => (value ? 'yes' : 'no');
  return [
    { what: 'Isolation', value: isolation.kind },
    { what: 'Network interfaces', value: isolation.interfaces.join(' ') },
    { what: 'User', value: String(isolation.user) },
    { what: 'Capabilities, effective', value: isolation.capabilities },
    { what: 'Capabilities, bounding set', value: isolation.bounding },
    { what: 'No new privileges', value: yes(isolation.noNewPrivileges) },
    { what: 'Seccomp mode', value: String(isolation.seccomp) },
    { what: 'Read-only root', value: yes(isolation.rootReadOnly) },
    { what: 'Memory limit, bytes', value: isolation.memoryLimit },
    { what: 'Process limit', value: isolation.processLimit },
  ];
}

function count(number: number, noun: string): string {
  return `${grouped(number)} ${noun}${number === 1 ? '' : 's'}`;
}

/** `2900304` as `2,900,304`: written out here, since what the machine's locale would do must not show. */
function grouped(number: number): string {
  return String(number).replace(/\B(?=(\d{3})+$)/g, ',');
}

/** `2,900,304 bytes`. */
export function formatSize(bytes: number): string {
  return `${grouped(bytes)} bytes`;
}

/** Milliseconds as `1 h 2 min 3 s`. */
function formatTime(milliseconds: number): string {
  const seconds = Math.max(0, Math.round(milliseconds / 1000));
  const parts = [
    { amount: Math.floor(seconds / 3600), unit: 'h' },
    { amount: Math.floor(seconds / 60) % 60, unit: 'min' },
  ].filter(({ amount }) => amount > 0);
  return [...parts, { amount: seconds % 60, unit: 's' }]
    .map(({ amount, unit }) => `${amount} ${unit}`)
    .join(' ');
}
