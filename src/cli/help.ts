import type { CommandLine } from './command-line.ts';

const commonOptions = `Every command:
  --json       print the answer as JSON on standard output, and nothing else there
  --debug      with an error, show where in Quern it arose
  -h, --help   print this
`;

const exitStatus = `Exit status: 0 all well; 1 the answer is no; 2 the spec or the command line is wrong;
3 something needed is missing or failed; 4 an input is not what it should be;
70 a mistake in Quern; 130 interrupted.
`;

/** What `quern COMMAND --help` prints. */
export function commandHelp({ help }: CommandLine<unknown>): string {
  return `${help}\n${commonOptions}`;
}

/** What `quern --help` prints: the commands that there are, one line each. */
export function mainHelp(lines: readonly (readonly [string, CommandLine<unknown>])[]): string {
  const width = Math.max(...lines.map(([name]) => name.length));
  const list = lines.map(([name, { summary }]) => `  ${name.padEnd(width)}   ${summary}\n`).join('');
  return `Usage: quern COMMAND …

Builds your own Linux kernel from one spec: the same bytes on every machine, a record of
what went in, and proof that it boots.

Commands:
${list}
\`quern COMMAND --help\` tells more about one of them. \`quern --version\` tells which Quern this is.

${commonOptions}
${exitStatus}`;
}
