import { appendFile, readFile, stat } from 'node:fs/promises';
import { join, resolve } from 'node:path';

import type { CheckValue } from '../src/commands/check.ts';
import { exitCodes, type ExitCode } from '../src/diagnostics/diagnostic.ts';
import { toJson } from '../src/diagnostics/to-json.ts';
import type { Host } from '../src/host/host.ts';
import { templatesFolder } from '../src/host/package-root.ts';
import { recordSummary, renderJobSummary, type JobFacts } from '../src/report/job-summary.ts';
import type { JobReport } from './run-job.ts';

/** A larger one is not shown at all (docs.github.com, workflow commands, "Job summaries"). Bytes. */
const largest = 1024 * 1024;

/**
 * The page of a job: what came of it, on one screen when all is well, and below it, folded, what the record says.
 *
 * @param spec as the step names it
 * @param room bytes that it may have
 */
export async function buildSummary(
  report: JobReport,
  spec: string,
  host: Host,
  room: number = largest,
): Promise<string> {
  const template = await readFile(join(templatesFolder(), 'job-summary.md.hbs'), 'utf8');
  const page = renderJobSummary(factsOf(report, spec), template);
  const folded = report.built ? await foldedRecord(resolve(host.cwd, report.built.folder)) : '';
  const whole = page + folded;
  return [whole, page].find((text) => Buffer.byteLength(text) <= room) ?? '';
}

/** Appends it to what earlier commands of the step have written, where the runner takes such a page. */
export async function writeSummary(report: JobReport, spec: string, host: Host): Promise<void> {
  const file = host.env['GITHUB_STEP_SUMMARY'] ?? '';
  if (file === '') return;
  const { size } = await stat(file);
  await appendFile(file, await buildSummary(report, spec, host, largest - size));
}

async function foldedRecord(folder: string): Promise<string> {
  const record = await readFile(join(folder, recordSummary), 'utf8');
  return `\n<details><summary>What went in, and how it was built</summary>\n\n${record}\n</details>\n`;
}

function factsOf(report: JobReport, spec: string): JobFacts {
  const { checked, built, booted, diagnostics, sources } = report;
  const facts = [
    ...(built
      ? [
          { what: 'Kernel release (uname -r)', value: built.kernelRelease },
          { what: 'Build stamp (uname -v)', value: built.versionString },
          { what: 'Folder', value: built.folder },
        ]
      : []),
    ...(booted
      ? [
          {
            what: 'Boot',
            value: `${booted.verdict}, ${booted.emulator} (${booted.accelerator}), ${booted.seconds} s`,
          },
        ]
      : []),
  ];
  const requests = (built ?? checked)?.verdicts ?? [];
  return {
    title: titleOf(report, spec),
    facts,
    artefacts: built?.artefacts ?? [],
    requests,
    // requests that are not kept are shown as such
    diagnostics: toJson(
      diagnostics.filter(({ code }) => requests.length === 0 || code !== 'command/request-not-kept'),
      sources,
    ),
  };
}

function titleOf({ exit, checked, built, booted }: JobReport, spec: string): string {
  const well = exit === exitCodes.ok;
  if (checked) return `${checked.name}: ${well ? titleOfCheck(checked) : titleOfBadCheck(checked)}`;
  if (!built) return `${spec}: ${titlesOfFailures[exit]}`;
  const what = `${built.name}: Linux ${built.kernelRelease} is built`;
  if (!booted) return well ? what : `${what}, but not all went well`;
  return `${what}, and ${well ? 'boots' : 'does not boot as it should'}`;
}

function titleOfCheck({ assumed }: CheckValue): string {
  return assumed ? 'the spec is in order, as far as can be told before it is pinned' : 'the spec is in order';
}

function titleOfBadCheck({ verdicts }: CheckValue): string {
  const lost = verdicts.filter(({ verdict }) => verdict !== 'kept').length;
  return lost === 0 ? 'would not work' : `${lost} of ${verdicts.length} requests would not be kept`;
}

const titlesOfFailures: Readonly<Record<ExitCode, string>> = {
  [exitCodes.ok]: 'nothing was built',
  [exitCodes.no]: 'no kernel comes of it',
  [exitCodes.usage]: 'not in order',
  [exitCodes.missing]: 'failed, something needed is missing or did not work',
  [exitCodes.input]: 'failed, a file is not what it should be',
  [exitCodes.bug]: 'failed by a mistake in Quern',
  [exitCodes.interrupted]: 'interrupted',
};
