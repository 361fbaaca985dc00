import { describeError, sourcesOf } from '../src/commands/describe-error.ts';
import { exitCodes, exitOf, type ExitCode } from '../src/diagnostics/diagnostic.ts';
import { formatText } from '../src/diagnostics/format-text.ts';
import type { Host } from '../src/host/host.ts';
import { buildAnnotations, issueAnnotations } from './annotations.ts';
import { uploadFolder, type Patience } from './artifacts.ts';
import { readInputs, type Inputs } from './inputs.ts';
import type { Log } from './log.ts';
import { buildOutputs, writeOutputs } from './outputs.ts';
import { runJob, type JobCommands, type JobReport } from './run-job.ts';
import { writeSummary } from './summary.ts';

export interface Step {
  /** Its `cwd` is the workspace; its progress goes into `log`. */
  readonly host: Host;
  readonly log: Log;
  readonly commands: JobCommands;
  readonly patience?: Patience;
}

/**
 * Runs a step of a workflow: the job, then annotations, outputs and summary, so that nothing that is known gets lost
 * when the upload, which comes last, takes its time or fails.
 *
 * @returns the exit code: that of the command line for the same
 */
export async function runStep(step: Step): Promise<ExitCode> {
  const { host } = step;
  const inputs = inputsOf(host);
  if ('diagnostics' in inputs) {
    await tell(inputs, 'The inputs of this step', host);
    return inputs.exit;
  }
  const report = await work(inputs, step);
  try {
    await tell(report, inputs.spec, host);
  } finally {
    // a page that cannot be written is no reason to lose the build, or the log of one that failed
    if (!host.signal.aborted) await upload(report, inputs, step);
  }
  return host.signal.aborted ? exitCodes.interrupted : report.exit;
}

function inputsOf({ env }: Host): Inputs | JobReport {
  try {
    return readInputs(env);
  } catch (error) {
    const diagnostics = describeError(error);
    return { exit: exitOf(diagnostics), diagnostics, sources: sourcesOf(error), text: '' };
  }
}

async function work(inputs: Inputs, { host, log, commands }: Step): Promise<JobReport> {
  log.open(`quern: ${inputs.job} ${inputs.spec}`, true);
  const report = await runJob(inputs, host, commands);
  host.progress.end();
  log.write(report.text);
  log.write(formatText(report.diagnostics, report.sources, { color: false }));
  log.close();
  return report;
}

async function tell(report: JobReport, subject: string, host: Host): Promise<void> {
  // first what needs no disk: a full one may be the very thing to tell
  issueAnnotations(buildAnnotations(report.diagnostics, report.sources, host.cwd));
  writeOutputs(buildOutputs(report));
  // Who has cancelled the run waits for its end and looks for no page.
  if (!host.signal.aborted) await writeSummary(report, subject, host);
}

/** What was built, or the log of what was not. */
async function upload(report: JobReport, inputs: Inputs, { host, log, patience }: Step): Promise<void> {
  const { built, failedFolder } = report;
  const { artifact, retentionDays } = inputs;
  const folder = built?.folder ?? failedFolder;
  if (artifact === undefined || folder === undefined) return;
  const name = built ? artifact : `${artifact}-failed`;
  // Not guarded: the client has the runner hide the address that it sends to, and prints nothing of a spec.
  log.open(`quern: upload ${name}`, false);
  const { value, diagnostics } = await uploadFolder({ name, folder, retentionDays }, host, patience);
  log.close();
  issueAnnotations(buildAnnotations(diagnostics, new Map(), host.cwd));
  if (value) {
    writeOutputs(
      new Map([
        ['artifact-id', value.id],
        ['artifact-sha256', value.sha256],
      ]),
    );
  }
}
