import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { bootCodes } from './codes.ts';
import type { MissingOption } from './console-options.ts';
import { moduleFile } from './initramfs.ts';
import type { BootReport, BootVerdict, ConsoleReading } from './read-console.ts';

/** What the record says of the kernel. */
export interface Expected {
  readonly release: string;
  readonly versionString: string;
  /** SHA-256 of the resolved configuration; absent when the record has none. */
  readonly config?: string;
  /** Names of the modules that were to be loaded, in order. */
  readonly modules: readonly string[];
}

export interface JudgeFacts {
  readonly expected: Expected;
  /** Options the boot proof needs and the kernel's configuration lacks. */
  readonly missing: readonly MissingOption[];
  /** Seconds that were given. */
  readonly seconds: number;
}

/** Says in diagnostics what a boot showed: no error among them means that the kernel boots and is the recorded one. */
export function judgeBoot({ verdict, complaints }: ConsoleReading, facts: JudgeFacts): readonly Diagnostic[] {
  const outcome =
    verdict.kind === 'booted' ? compareReport(verdict.report, facts.expected) : explain(verdict, facts);
  return [
    ...outcome,
    ...complaints.map((line) =>
      bootCodes.report('boot/complaint', { message: `the kernel complained: ${quoted(line, 120)}` }),
    ),
  ];
}

const seeLog = 'Read the console log: boot.log in the folder of the build.';

function explain(
  verdict: Exclude<BootVerdict, { kind: 'booted' }>,
  { missing, seconds }: JudgeFacts,
): Diagnostic[] {
  const lacks = missing.map(({ option, why }) => `The configuration lacks ${option}: ${why}.`);
  const time = `${seconds} second${seconds === 1 ? '' : 's'}`;
  switch (verdict.kind) {
    case 'panic':
      return [
        bootCodes.report('boot/panic', {
          message: `the kernel panicked: ${quoted(verdict.line, 160)}`,
          notes: [...panicNotes(verdict.line), ...lacks],
          help: `Do not install this kernel. ${seeLog}`,
        }),
      ];
    case 'hang':
      return [
        bootCodes.report('boot/hang', {
          message: `the kernel did not finish within ${time}`,
          notes: [`The last it said: ${quoted(verdict.last, 160)}.`, ...lacks],
          help: `${seeLog} On a slow machine, give it more time with --timeout.`,
        }),
      ];
    case 'silent':
      return [
        bootCodes.report('boot/silent', {
          message: `nothing came out of the serial console within ${time}`,
          notes:
            lacks.length > 0
              ? lacks
              : ['The configuration has all that a serial console needs: it does not start.'],
          help:
            lacks.length > 0
              ? 'Ask for these options in the spec, or try this kernel where it has a console.'
              : 'Do not install this kernel. See whether it starts where there is a screen.',
        }),
      ];
    case 'restarted':
      return [
        bootCodes.report('boot/restarted', {
          message: 'the machine restarted before the check inside the kernel was done',
          notes: [`The last it said: ${quoted(verdict.last, 160)}.`, ...lacks],
          help: `Do not install this kernel. ${seeLog}`,
        }),
      ];
    case 'flooded':
      return [
        bootCodes.report('boot/flooded', {
          message: 'the kernel wrote more to its console than is kept, and was stopped',
          notes: [`The last it said: ${quoted(verdict.last, 160)}.`],
          help: seeLog,
        }),
      ];
    case 'emulator-failed':
      return [
        bootCodes.report('boot/emulator-failed', {
          message: `the emulator ended with ${verdict.code === null ? 'a signal' : `status ${verdict.code}`}`,
          notes: verdict.said === '' ? [] : [`It says: ${quoted(verdict.said, 300)}.`],
        }),
      ];
  }
}

/** What the usual panics of a boot mean (common practice). */
function panicNotes(line: string): string[] {
  if (/No working init found|Unable to mount root fs|Requested init/.test(line)) {
    return [
      'It found no program to start: it did not unpack the initial file system, or cannot start a program of its kind.',
    ];
  }
  if (/Attempted to kill init/.test(line)) {
    return ['Its first process ended: the program of the check could not do its work.'];
  }
  return [];
}

function compareReport(report: BootReport, expected: Expected): Diagnostic[] {
  const diagnostics: Diagnostic[] = [];
  if (report.release !== expected.release) {
    diagnostics.push(
      bootCodes.report('boot/release-differs', {
        message: `the booted kernel calls itself ${quoted(report.release)}; the record says ${quoted(expected.release)}`,
      }),
    );
  }
  if (report.version !== expected.versionString) {
    diagnostics.push(
      bootCodes.report('boot/version-differs', {
        message: `the booted kernel says ${quoted(report.version, 80)}; the record says ${quoted(expected.versionString, 80)}`,
        notes: [
          'This is what `uname -v` says: the build number, the kind of preemption and the time of the build.',
        ],
      }),
    );
  }
  diagnostics.push(...compareConfig(report.config, expected.config));
  const failed = report.modules.filter(({ loaded }) => !loaded);
  return [...diagnostics, ...failed.map(({ file, said }) => moduleFailed(nameOf(file, expected), said))];
}

function compareConfig(booted: string | undefined, expected: string | undefined): Diagnostic[] {
  if (booted === undefined) {
    return [
      bootCodes.report('boot/config-not-embedded', {
        message: 'the kernel does not embed its configuration, so that it was not compared',
        help: 'IKCONFIG=y and IKCONFIG_PROC=y embed it.',
      }),
    ];
  }
  if (booted === expected) return [];
  return [
    bootCodes.report('boot/config-differs', {
      message: 'the configuration embedded in the booted kernel is not the one of the record',
      notes: [`recorded: ${expected ?? 'none'}`, `embedded: ${booted}`],
    }),
  ];
}

/** Name of a module as people know it, for what its file is called within the initial file system. */
export function nameOf(file: string, { modules }: Pick<Expected, 'modules'>): string {
  return modules.find((name, index) => moduleFile(name, index) === file) ?? file;
}

function moduleFailed(name: string, said: string): Diagnostic {
  return bootCodes.report('boot/module-failed', {
    message: `the module ${quoted(name)} could not be loaded`,
    notes: said === '' ? [] : [`insmod says: ${quoted(said, 160)}.`],
    help: seeLog,
  });
}
