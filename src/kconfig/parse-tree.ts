import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { detectDialect, type Dialect } from './dialect.ts';
import { finishModel } from './finish-model.ts';
import { Lexer } from './lexer.ts';
import { Macros } from './macros.ts';
import type { Model } from './model.ts';
import { ParseState } from './parse-state.ts';
import { parseStatements } from './parser.ts';
import type { Probes } from './probes.ts';
import { createReports } from './reports.ts';
import type { TreeFiles } from './tree-files.ts';

export interface ParseInput {
  readonly files: TreeFiles;
  readonly probes: Probes;
  /** What the kernel's Makefile exports and Kconfig files ask for: ARCH, SRCARCH, CC, srctree and so on. */
  readonly environment: Readonly<Record<string, string>>;
  /** The file to start from; `Kconfig` of the tree when it is not given. */
  readonly root?: string;
  /** The rules to read by; found out from the tree when they are not given. */
  readonly dialect?: Dialect;
}

export interface ParsedTree {
  /** Absent when there is an error among the diagnostics. While answers are missing it is one of a tree that has them all n. */
  readonly model: Model | undefined;
  /** What is wrong, and what the kernel's program warns about. */
  readonly diagnostics: readonly Diagnostic[];
  /** The text of each file that a diagnostic names. */
  readonly sources: ReadonlyMap<string, string>;
  /**
   * Commands whose answer was needed and not known, in the order of the tree. Others may come up once these are
   * answered: parse again, until there are none.
   */
  readonly missing: readonly string[];
  /** Commands whose answer was used. */
  readonly asked: readonly string[];
  /** Variables that were expanded although nobody has set them, neither a file nor the environment. */
  readonly unset: readonly string[];
}

/**
 * Reads the Kconfig files of a tree. Whatever the files hold, it ends in a model or in errors with their places, in
 * time linear in their size.
 */
export function parseTree(input: ParseInput): ParsedTree {
  const { probes, environment, root = 'Kconfig' } = input;
  const files = insideTree(input.files, environment['srctree']);
  const { dialect, found } = input.dialect ? { dialect: input.dialect, found: true } : detectDialect(files);
  const reports = createReports((path) => files.read(path));
  const macros: Macros = new Macros(
    { environment, probes },
    {
      file: () => lexer.file,
      line: () => lexer.line,
      complain: (code, message, help) => lexer.complainLine(code, message, help),
      fail: (code, message, help) => {
        lexer.complainLine(code, message, help);
        lexer.stop();
      },
    },
  );
  const lexer: Lexer = new Lexer(dialect, macros, reports);
  const state = new ParseState(lexer, reports, dialect, root);
  const text = files.read(root);
  if (text === undefined) {
    reports.plain('kconfig/missing-file', `there is no file ${quoted(root)} in the tree`, {
      help: 'name the root of a kernel tree, the folder that has `Kconfig` and `Makefile`',
    });
  } else {
    if (!found)
      reports.plain(
        'kconfig/dialect',
        `the tree has no scripts/kconfig; it is read by the rules of ${dialect.name}`,
      );
    lexer.enter(root, text);
    state.files.push(root);
    parseStatements(state, files, macros);
  }
  const model = reports.failed() ? undefined : finishModel(state);
  return {
    model: reports.failed() ? undefined : model,
    diagnostics: reports.diagnostics,
    sources: reports.sources,
    missing: [...macros.missing],
    asked: [...macros.asked],
    unset: [...macros.unset],
  };
}

/** Paths that begin with the place of the tree are looked up in the tree. */
function insideTree(files: TreeFiles, srctree: string | undefined): TreeFiles {
  if (srctree === undefined || srctree === '' || srctree === '.') return files;
  const prefix = srctree.endsWith('/') ? srctree : `${srctree}/`;
  return { read: (path) => files.read(path.startsWith(prefix) ? path.slice(prefix.length) : path) };
}
