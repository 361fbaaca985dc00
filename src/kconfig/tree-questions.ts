/**
 * What a tree asks of its environment, in rounds: first the Makefiles (the compiler's version goes into commands), then
 * the Kconfig files, whose later commands contain earlier answers.
 */
import {
  makeEnvironment,
  kconfigVariables,
  type MakeEnvironment,
  type MakeRequest,
} from './make-environment.ts';
import { namedFiles } from './pack-files.ts';
import { parseTree, type ParsedTree } from './parse-tree.ts';
import type { Questions } from './probe-exchange.ts';
import type { Probes } from './probes.ts';
import type { TreeFiles } from './tree-files.ts';

export type Answers = ReadonlyMap<string, string>;

export type TreeReading =
  /** Answer these, add the answers to the others, and read again. */
  { readonly kind: 'asks'; readonly questions: Questions } | WholeReading;

export interface WholeReading {
  readonly kind: 'whole';
  readonly make: MakeEnvironment;
  readonly parsed: ParsedTree;
  /** The answers that were used: what a lock has to keep. */
  readonly answers: Answers;
}

/**
 * What commands say that ask for the machine and not for the environment: the kernel that happens to run while a spec is
 * pinned (5.10 looks for its configuration) must not get into a lock.
 */
const fixed: Answers = new Map([['uname -r', '']]);

/** Known answers, as the engine asks for them. */
export function probesOf(answers: Answers): Probes {
  return { answer: (command) => fixed.get(command) ?? answers.get(command) };
}

/**
 * Reads a tree as far as answers are known.
 *
 * @param wanted variables that the programs it runs look at, beside those that all trees use (`mentionedVariables`)
 */
export function readTree(
  files: TreeFiles,
  request: MakeRequest,
  answers: Answers,
  wanted: ReadonlySet<string> = kconfigVariables,
): TreeReading {
  const probes = probesOf(answers);
  const make = makeEnvironment(files, request, probes, wanted);
  if (make.missing.length > 0) return { kind: 'asks', questions: { commands: make.missing, variables: {} } };
  const parsed = parseTree({ files, probes, environment: make.variables });
  const further = parsed.unset.filter((name) => !wanted.has(name));
  if (further.length > 0) {
    // what make gives may be one that nobody knew of
    const wider = new Set([...wanted, ...further]);
    const { variables, missing } = makeEnvironment(files, request, probes, wider);
    const given = further.some((name) => Object.hasOwn(variables, name));
    if (given || missing.length > 0) return readTree(files, request, answers, wider);
  }
  if (parsed.missing.length > 0) {
    return { kind: 'asks', questions: { commands: parsed.missing, variables: make.variables } };
  }
  const used = new Set([...make.asked, ...parsed.asked]);
  return {
    kind: 'whole',
    make,
    parsed,
    answers: new Map([...answers].filter(([command]) => used.has(command) && !fixed.has(command))),
  };
}

/**
 * The variables that Kconfig files expand and that the scripts they run look at, as far as one can tell from their
 * texts. A tree that is newer than this program may have more of them than the known ones.
 *
 * @param texts path to text, of all files of a pack
 */
export function mentionedVariables(texts: ReadonlyMap<string, string>): ReadonlySet<string> {
  const kconfig = [...texts].filter(([path]) => isKconfig(path)).map(([, text]) => text);
  const mentioned = new Set(kconfigVariables);
  const add = (text: string, pattern: RegExp): void => {
    for (const [, name] of text.matchAll(pattern)) if (name) mentioned.add(name);
  };
  for (const text of kconfig) add(text, /\$\(([A-Z][A-Z0-9_]*)\)/g);
  // scripts run others that lie beside them
  const scripts = new Set([...namedFiles(kconfig)].filter((path) => !isKconfig(path)));
  for (const path of scripts) {
    const text = texts.get(path) ?? '';
    add(text, /\$\{?([A-Z][A-Z0-9_]*)\b/g);
    const folder = path.slice(0, path.lastIndexOf('/'));
    for (const [, name] of text.matchAll(/\/([\w-]+\.sh)\b/g)) if (name) scripts.add(`${folder}/${name}`);
  }
  return mentioned;
}

function isKconfig(path: string): boolean {
  return /(?:^|\/)Kconfig[^/]*$/.test(path);
}
