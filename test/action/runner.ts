/**
 * How a runner reads what a step prints and writes, as its own source has it (actions/runner: `ActionCommand.cs` and
 * `ActionCommandManager.cs` for standard output and error, `FileCommandManager.cs` for the environment files).
 */

export interface Command {
  readonly name: string;
  readonly properties: Readonly<Record<string, string>>;
  readonly data: string;
}

/** What a runner obeys, a stop token apart. */
const registered = new Set([
  'stop-commands',
  'set-env',
  'set-output',
  'save-state',
  'add-mask',
  'add-path',
  'add-matcher',
  'remove-matcher',
  'debug',
  'warning',
  'error',
  'notice',
  'group',
  'endgroup',
  'echo',
  'internal-set-repo-path',
]);

/** The commands that a runner would carry out, in order; those that stand where commands are stopped are not among them. */
export function commandsIn(output: string): Command[] {
  const obeyed: Command[] = [];
  let token: string | undefined;
  for (const line of output.split(/\r\n|\r|\n/u)) {
    const known = token === undefined ? registered : new Set([...registered, token.toLowerCase()]);
    const command = readNew(line, known) ?? readOld(line, known);
    if (!command) continue;
    if (token !== undefined) {
      if (command.name.toLowerCase() === token.toLowerCase()) token = undefined;
      continue;
    }
    if (command.name.toLowerCase() === 'stop-commands') token = command.data;
    obeyed.push(command);
  }
  return obeyed;
}

/** `::name key=value,key=value::data` */
function readNew(line: string, known: ReadonlySet<string>): Command | undefined {
  const text = line.trimStart();
  const end = text.startsWith('::') ? text.indexOf('::', 2) : -1;
  if (end < 0) return undefined;
  return command(text.slice(2, end), ',', text.slice(end + 2), known);
}

/** `##[name key=value;key=value]data`, anywhere in a line. */
function readOld(line: string, known: ReadonlySet<string>): Command | undefined {
  const start = line.indexOf('##[');
  const end = start < 0 ? -1 : line.indexOf(']', start);
  if (end < 0) return undefined;
  return command(line.slice(start + 3, end), ';', line.slice(end + 1), known);
}

function command(
  about: string,
  separator: string,
  data: string,
  known: ReadonlySet<string>,
): Command | undefined {
  const space = about.indexOf(' ');
  const name = space < 0 ? about : about.slice(0, space);
  if (!known.has(name.toLowerCase())) return undefined;
  const pairs = (space < 0 ? '' : about.slice(space + 1)).split(separator).flatMap((pair) => {
    const equals = pair.indexOf('=');
    return equals < 0 ? [] : [[pair.slice(0, equals).trim(), unescapeText(pair.slice(equals + 1))] as const];
  });
  return { name, properties: Object.fromEntries(pairs), data: unescapeText(data) };
}

function unescapeText(text: string): string {
  return text
    .replaceAll('%0D', '\r')
    .replaceAll('%0A', '\n')
    .replaceAll('%3A', ':')
    .replaceAll('%2C', ',')
    .replaceAll('%25', '%');
}

/** The entries of `$GITHUB_OUTPUT` and its like: `name=value`, or `name<<DELIMITER` with lines up to the delimiter. */
export function entriesIn(file: string): Map<string, string> {
  const entries = new Map<string, string>();
  const lines = file.split(/\r\n|\n/u);
  for (let index = 0; index < lines.length; index += 1) {
    const line = lines[index] ?? '';
    if (line === '') continue;
    const equals = line.indexOf('=');
    const heredoc = line.indexOf('<<');
    if (equals >= 0 && (heredoc < 0 || equals < heredoc)) {
      entries.set(line.slice(0, equals), line.slice(equals + 1));
      continue;
    }
    if (heredoc < 0) throw new Error(`the runner refuses the line ${JSON.stringify(line)}`);
    const delimiter = line.slice(heredoc + 2);
    const end = lines.indexOf(delimiter, index + 1);
    if (end < 0) throw new Error(`the runner finds no ${delimiter}`);
    entries.set(line.slice(0, heredoc), lines.slice(index + 1, end).join('\n'));
    index = end;
  }
  return entries;
}
