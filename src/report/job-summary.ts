import type { Severity } from '../diagnostics/diagnostic.ts';
import { printable } from '../diagnostics/printable.ts';
import type { DiagnosticJson } from '../diagnostics/to-json.ts';
import { recordFiles } from '../record/record-files.ts';
import { fillTemplate } from './fill-template.ts';
import { countVerdicts, formatSize, markdownQuoting, type SummaryRequest } from './summary.ts';

/** What the page of a CI job says of one run. */
export interface JobFacts {
  /** What came of it, in half a line. */
  readonly title: string;
  readonly facts: readonly { readonly what: string; readonly value: string }[];
  readonly artefacts: readonly {
    readonly name: string;
    /** Bytes. */ readonly size: number;
    readonly sha256: string;
  }[];
  readonly requests: readonly SummaryRequest[];
  readonly diagnostics: readonly DiagnosticJson[];
}

/** Where in a build's folder the summary for people is: what a page of a CI job may show under its own. */
export const recordSummary: string = recordFiles.summary;

/** Such a page is read at a glance, and limited: the log has the rest. Entries, and UTF-16 code units of a text. */
const most = 40;
const longest = 300;

/**
 * Renders the page of a CI job, in GitHub Flavored Markdown: at most some hundred kilobytes, whatever the facts.
 *
 * @param template the text of `templates/job-summary.md.hbs`
 */
export function renderJobSummary(facts: JobFacts, template: string): string {
  const { title, artefacts, requests, diagnostics } = facts;
  const first = diagnostics.find(({ severity }) => severity === 'error');
  const others = diagnostics.filter((one) => one !== first);
  const attention = requests.filter(({ verdict }) => verdict !== 'kept');
  const view = {
    title: cut(title),
    facts: facts.facts.slice(0, most).map(({ what, value }) => ({ what: cut(what), value: cut(value) })),
    artefacts: artefacts
      .slice(0, most)
      .map(({ name, size, sha256 }) => ({ name: cut(name), size: formatSize(size), sha256: cut(sha256) })),
    requests: requests.length === 0 ? '' : countVerdicts(requests),
    attention: attention.slice(0, most).map((request) => ({
      verdict: request.verdict,
      option: cut(request.option),
      requested: cut(request.requested),
      value: cut(request.value ?? 'no value'),
      message: cut(request.message),
    })),
    first: first ? { ...entry(first), notes: notesOf(first) } : '',
    others: others.slice(0, most).map(entry),
    more: describeRest([...others.slice(most)], attention.length - most),
  };
  return fillTemplate(template, view, markdownQuoting);
}

function entry({ severity, code, message, file, line, column, help = '' }: DiagnosticJson): object {
  const place = [file, line, column].filter((part) => part !== undefined).join(':');
  return { severity, code, place: cut(place), message: cut(message), help: cut(help) };
}

function notesOf({ notes }: DiagnosticJson): readonly string[] {
  return notes
    .flatMap((note) => note.split('\n'))
    .slice(0, most)
    .map((line) => cut(line));
}

function cut(text: string): string {
  const shown = printable(text.slice(0, longest).replaceAll('\n', ' '));
  return text.length <= longest && shown.length <= longest ? shown : `${shown.slice(0, longest - 1)}…`;
}

/** `3 errors and 1 note more: the log has them all.`; empty when nothing was left out. */
function describeRest(left: readonly DiagnosticJson[], requestsLeft: number): string {
  const severities: readonly Severity[] = ['error', 'warning', 'note'];
  const parts = [
    ...severities.map((name) => ({ name, count: left.filter(({ severity }) => severity === name).length })),
    { name: 'request', count: requestsLeft },
  ]
    .filter(({ count }) => count > 0)
    .map(({ name, count }) => `${count} ${name}${count === 1 ? '' : 's'}`);
  return parts.length === 0 ? '' : `${parts.join(', ')} more: the log has them all.`;
}
