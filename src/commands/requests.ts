import type { Diagnostic, Span } from '../diagnostics/diagnostic.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import { indexLines, positionAt, spanOfLine } from '../diagnostics/line-column.ts';
import { nearest } from '../diagnostics/nearest.ts';
import { quoted } from '../diagnostics/printable.ts';
import { makeWords } from '../environment/toolchain.ts';
import { fragmentFolders, treeFragments } from '../kconfig/base-recipe.ts';
import { decodeLatin1 } from '../kconfig/latin1.ts';
import { makeEnvironment } from '../kconfig/make-environment.ts';
import { explainOverrides, fragmentRequests, type Origin, type Request } from '../kconfig/requests.ts';
import type { ListedFiles } from '../kconfig/tree-files.ts';
import { fragmentText } from '../spec/config-text.ts';
import { commandCodes } from './codes.ts';
import type { OpenSpec } from './open-spec.ts';
import { besideSpec } from './resolve-inside.ts';
import type { LocalFiles } from './spec-files.ts';

/** What a spec and its fragments ask for. */
export interface Asked {
  /** In the order in which they count: the fragments' as listed, then those of `set`. */
  readonly requests: readonly Request[];
  readonly diagnostics: readonly Diagnostic[];
  /** The texts of spec, base and fragments, by name. */
  readonly sources: ReadonlyMap<string, string>;
  /** Where a request stands in one of these; one of the tree's fragments: where the spec names that. */
  spanOf(origin: Origin): Span | undefined;
  /** Whether a request is one of the tree's own fragments, which are written for many a base and architecture. */
  isOfTree(origin: Origin): boolean;
}

/** A fragment, as messages call it. */
interface Fragment {
  readonly name: string;
  readonly text: string;
  /** Of one of the tree: where the spec names it. */
  readonly named?: { readonly span: Span | undefined };
}

/**
 * All requests of a spec.
 *
 * @param tree the patched tree, or its pack
 * @throws Failure `command/no-fragment`
 */
export function collectRequests(opened: OpenSpec, files: LocalFiles, tree: ListedFiles): Asked {
  const { spec, path, sources, place } = opened;
  const fragments = listFragments(opened, files, tree);
  const read = fragments.map((fragment) => ({
    ...fragment,
    ...fragmentRequests(fragment.text, fragment.name),
  }));
  const lines = indexLines(sources.get(path) ?? '');
  const lineOf = (option: string): { line?: number } => {
    const span = place(['config', 'set', option]);
    return span ? { line: positionAt(lines, span.start).line } : {};
  };
  const set = spec.config.set.map(({ option, value }) => ({
    option,
    value: Buffer.from(value, 'utf8').toString('latin1'),
    origin: { file: path, ...lineOf(option) },
  }));
  const requests = [...read.flatMap((fragment) => fragment.value), ...set];
  const ofTree = new Map(read.flatMap(({ name, named }) => (named ? [[name, named.span] as const] : [])));
  const all = new Map([
    ...(files.base ? [[files.base.name, decodeLatin1(files.base.content)] as const] : []),
    ...read.map(({ name, text }) => [name, text] as const),
    ...sources,
  ]);
  return {
    requests,
    // of files beside the spec this was said when they were read
    diagnostics: [
      ...read.flatMap(({ named, diagnostics }) => (named ? passedOver(diagnostics, named.span) : [])),
      ...explainOverrides(requests),
    ],
    sources: all,
    spanOf({ file, line }) {
      if (ofTree.has(file)) return ofTree.get(file);
      const text = all.get(file);
      return text === undefined || line === undefined ? undefined : spanOfLine(file, text, line);
    },
    isOfTree: ({ file }) => ofTree.has(file),
  };
}

/** In their order; a name of a fragment of the tree may stand for two files. */
function listFragments(
  { spec, path, sources, place }: OpenSpec,
  files: LocalFiles,
  tree: ListedFiles,
): readonly Fragment[] {
  const local = new Map(files.fragments.map((file) => [file.path, file]));
  let known: string | undefined;
  const sourceArch = (): string =>
    (known ??= makeEnvironment(tree, makeWords(spec), { answer: () => undefined }).sourceArch);
  return spec.config.fragments.flatMap((fragment, nth): readonly Fragment[] => {
    const span = place(['config', 'fragments', nth]);
    if (typeof fragment === 'string') {
      const { content = new Uint8Array() } = local.get(fragment) ?? {};
      return [{ name: besideSpec(path, fragment), text: decodeLatin1(content) }];
    }
    const paths = treeFragments(tree, sourceArch(), fragment.tree);
    if (paths.length === 0)
      throw new Failure(noFragment(fragment.tree, sourceArch(), tree, span), { sources });
    return paths.map((one) => ({
      name: fragmentText({ tree: one }),
      text: tree.read(one) ?? '',
      named: { span },
    }));
  });
}

function noFragment(name: string, sourceArch: string, tree: ListedFiles, span: Span | undefined): Diagnostic {
  const folders = fragmentFolders(sourceArch);
  const there = [...new Set(folders.flatMap((folder) => tree.list(folder)))]
    .filter((one) => one.endsWith('.config'))
    .sort();
  const meant = nearest(name, there);
  return commandCodes.report('command/no-fragment', {
    message: `this tree has no fragment ${quoted(name)} for ${quoted(sourceArch)}`,
    span,
    notes: [`Looked for in ${folders.join(' and ')}, which have: ${there.join(', ') || 'none'}.`],
    help:
      meant === undefined ? 'Name one of these, or a file beside the spec.' : `Did you mean \`${meant}\`?`,
  });
}

/** Nobody who writes a spec can mend the tree's own fragments: such lines count for nothing, as with the kernel's program. */
function passedOver(faults: readonly Diagnostic[], span: Span | undefined): readonly Diagnostic[] {
  return faults.map(({ message }) =>
    commandCodes.report('command/tree-fragment-line', { message, span, notes: ['The line is passed over.'] }),
  );
}
