import type { CommandResult } from '../commands/command.ts';
import type { Commands } from '../commands/commands.ts';
import { describeError, interruption, sourcesOf, traceOf } from '../commands/describe-error.ts';
import type { OptionsOf } from '../commands/options.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes, exitOf, type Diagnostic, type ExitCode } from '../diagnostics/diagnostic.ts';
import { formatText } from '../diagnostics/format-text.ts';
import { nearest } from '../diagnostics/nearest.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import { packageVersion } from '../host/package-root.ts';
import { wantsColor, type TerminalStream } from '../host/terminal.ts';
import type { TextSink } from '../host/text-sink.ts';
import { readArguments } from './arguments.ts';
import { cliCodes } from './codes.ts';
import type { CommandLine } from './command-line.ts';
import { commandTable } from './command-table.ts';
import { commonFlags } from './flags.ts';
import { commandHelp, mainHelp } from './help.ts';
import { outcomeToJson, type Outcome } from './outcome.ts';
import { parseWords } from './parse-words.ts';

export interface CliIo {
  readonly stdout: TextSink;
  readonly stderr: TerminalStream;
  readonly host: Host;
}

type CommandName = keyof OptionsOf;

const seeMainHelp = '`quern --help` lists the commands.';

/**
 * Runs `quern`.
 *
 * @param argv the words behind the name of the program
 * @param commands those that there are; others are unknown
 * @returns the exit code; never throws
 */
export async function main(argv: readonly string[], io: CliIo, commands: Commands): Promise<ExitCode> {
  const { stdout, stderr, host } = io;
  const outcome = await outcomeOf(argv, host, commands);
  host.progress.end();
  const words = argv.slice(0, argv.includes('--') ? argv.indexOf('--') : argv.length);
  const debug = words.includes('--debug');
  if (words.includes('--json')) {
    stdout.write(`${JSON.stringify(outcomeToJson(outcome, debug), undefined, 2)}\n`);
    return outcome.exit;
  }
  const { diagnostics, sources = new Map(), text = '', trace } = outcome;
  stderr.write(formatText(diagnostics, sources, { color: wantsColor(stderr, host.env) }));
  if (debug && trace !== undefined) stderr.write(`\n${trace}\n`);
  if (text !== '') stdout.write(text.endsWith('\n') ? text : `${text}\n`);
  return outcome.exit;
}

async function outcomeOf(argv: readonly string[], host: Host, commands: Commands): Promise<Outcome> {
  const named = argv.findIndex((word) => !word.startsWith('-'));
  const word = named < 0 || argv.slice(0, named).includes('--') ? undefined : argv[named];
  const others = word === undefined ? argv : argv.toSpliced(named, 1);
  try {
    if (word === undefined) return withoutCommand(others, commands);
    if (word === 'help') return help(others, commands);
    const name = available(commands).find((one) => one === word);
    if (name === undefined) return refusal([unknownCommand(word, commands)]);
    return { command: word, ...(await runCommand(name, others, host, commands)) };
  } catch (error) {
    const diagnostics = host.signal.aborted ? [interruption(host.signal.reason)] : describeError(error);
    return {
      ...refusal(diagnostics),
      ...(word !== undefined && { command: word }),
      sources: sourcesOf(error),
      trace: traceOf(error),
    };
  }
}

async function runCommand<Name extends CommandName>(
  name: Name,
  words: readonly string[],
  host: Host,
  commands: Commands,
): Promise<CommandResult> {
  const line: CommandLine<OptionsOf[Name]> = commandTable[name];
  const command = commands[name];
  if (!command) throw new Error(`no command ${name}`);
  const seeHelp = `\`quern ${name} --help\` tells what it takes.`;
  const parsed = parseWords(words, { ...line.flags, ...commonFlags }, seeHelp);
  if (parsed.flags.has('help')) return told({ help: commandHelp(line) }, commandHelp(line));
  const given = readArguments(parsed, line.operands, line.needs ?? line.operands.length, seeHelp);
  const options = line.read(given);
  if (given.diagnostics.length > 0) throw new Failure(given.diagnostics);
  return command(options, host);
}

function withoutCommand(words: readonly string[], commands: Commands): Outcome {
  const { flags, operands, diagnostics } = parseWords(
    words,
    { ...commonFlags, version: { short: 'V' } },
    seeMainHelp,
  );
  if (diagnostics.length > 0) return refusal(diagnostics);
  if (flags.has('version')) return told({ version: packageVersion() }, `quern ${packageVersion()}\n`);
  const text = mainHelp(linesOf(commands));
  if (flags.has('help')) return told({ help: text }, text);
  const message =
    operands.length > 0 ? `${quoted(operands[0] ?? '')} names no command` : 'no command is named';
  const diagnostic = cliCodes.report('cli/no-command', { message, help: seeMainHelp });
  return { ...refusal([diagnostic]), text };
}

/** `quern help` and `quern help COMMAND`. */
function help(words: readonly string[], commands: Commands): Outcome {
  const { operands } = parseWords(words, commonFlags, seeMainHelp);
  const [word] = operands;
  if (word === undefined) return told({ help: mainHelp(linesOf(commands)) }, mainHelp(linesOf(commands)));
  const name = available(commands).find((one) => one === word);
  if (name === undefined) return refusal([unknownCommand(word, commands)]);
  return told({ help: commandHelp(commandTable[name]) }, commandHelp(commandTable[name]));
}

function unknownCommand(word: string, commands: Commands): Diagnostic {
  const near = nearest(word, [...available(commands), 'help']);
  return cliCodes.report('cli/unknown-command', {
    message: `there is no command ${quoted(word)}`,
    help: near === undefined ? seeMainHelp : `Did you mean \`quern ${near}\`?`,
  });
}

/** In the order of the table, whatever the order of `commands`. */
function available(commands: Commands): CommandName[] {
  const names = Object.keys(commandTable) as CommandName[];
  return names.filter((name) => commands[name] !== undefined);
}

function linesOf(commands: Commands): [string, CommandLine<unknown>][] {
  return available(commands).map((name) => [name, commandTable[name]]);
}

function told(value: object, text: string): Outcome {
  return { exit: exitCodes.ok, diagnostics: [], value, text };
}

function refusal(diagnostics: readonly Diagnostic[]): Outcome {
  return { exit: exitOf(diagnostics) || exitCodes.bug, diagnostics, value: {} };
}
