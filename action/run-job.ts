import type { boot, assertBootable } from '../src/commands/boot.ts';
import { BuildFailure } from '../src/commands/build-failure.ts';
import type { build, BuildValue } from '../src/commands/build.ts';
import type { check, CheckValue } from '../src/commands/check.ts';
import type { CommandResult } from '../src/commands/command.ts';
import { describeError, interruption, sourcesOf } from '../src/commands/describe-error.ts';
import { exitCodes, exitOf, type Diagnostic, type ExitCode } from '../src/diagnostics/diagnostic.ts';
import type { Host } from '../src/host/host.ts';
import type { Inputs } from './inputs.ts';

/** The commands that a step may call. */
export interface JobCommands {
  readonly check: typeof check;
  readonly build: typeof build;
  readonly assertBootable: typeof assertBootable;
  readonly boot: typeof boot;
}

type BootValue = Awaited<ReturnType<typeof boot>>['value'];

/** How a job ended, and what is known of it by then. */
export interface JobReport {
  readonly exit: ExitCode;
  readonly diagnostics: readonly Diagnostic[];
  /** The text of each file that a span of the diagnostics names. */
  readonly sources: ReadonlyMap<string, string>;
  readonly checked?: CheckValue;
  readonly built?: BuildValue;
  readonly booted?: BootValue;
  /** What the commands say of it to people; empty when they say nothing. */
  readonly text: string;
  /** What a build that failed has left: a folder with its log. */
  readonly failedFolder?: string;
}

/** Does what the step asks for. Never throws: what went wrong is in the report, beside what went well before. */
export async function runJob(inputs: Inputs, host: Host, commands: JobCommands): Promise<JobReport> {
  const { job, spec, lock, output, engine, compilers } = inputs;
  const options = { spec, ...(lock !== undefined && { lock }) };
  // a spec may come from a stranger: nothing of its tree runs outside of the environment
  const checking = { ...options, probeHost: false };
  let report: JobReport = { exit: exitCodes.ok, diagnostics: [], sources: new Map(), text: '' };
  const add = (result: Omit<CommandResult, 'value' | 'exit'>, more: Partial<JobReport>): void => {
    const diagnostics = [...report.diagnostics, ...result.diagnostics];
    const sources = new Map([...report.sources, ...(result.sources ?? [])]);
    const text = [report.text, result.text ?? ''].filter((part) => part !== '').join('\n');
    report = { ...report, ...more, diagnostics, sources, text, exit: exitOf(diagnostics) };
  };
  try {
    if (job === 'check') {
      const checked = await commands.check(checking, host);
      add(checked, { checked: checked.value });
      return report;
    }
    if (job === 'boot') await commands.assertBootable(checking, host);
    const built = await commands.build(
      {
        ...options,
        output,
        ...(engine !== undefined && { engine }),
        ...(compilers !== undefined && { jobs: compilers }),
        keepTree: false,
        shellOnFailure: false,
      },
      host,
    );
    add(built, { built: built.value });
    if (job === 'build') return report;
    const booted = await commands.boot({ folder: output }, host);
    add(booted, { booted: booted.value });
  } catch (error) {
    const diagnostics = host.signal.aborted ? [interruption(host.signal.reason)] : describeError(error);
    const left = error instanceof BuildFailure ? { failedFolder: error.folder } : {};
    add({ diagnostics, sources: sourcesOf(error) }, left);
  }
  return report;
}
