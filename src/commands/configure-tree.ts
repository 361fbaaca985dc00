import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes, exitOf, type Diagnostic, type Span } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { baseConfig } from '../kconfig/base-config.ts';
import { baseRecipe } from '../kconfig/base-recipe.ts';
import type { ExplainInput } from '../kconfig/circumstances.ts';
import { compose } from '../kconfig/compose.ts';
import { configDiagnostics } from '../kconfig/config-diagnostics.ts';
import { configure } from '../kconfig/configure.ts';
import { configFit } from '../kconfig/given-config.ts';
import type { Request } from '../kconfig/requests.ts';
import type { ListedFiles } from '../kconfig/tree-files.ts';
import { probesOf } from '../kconfig/tree-questions.ts';
import { judgeRequests, type Verdict } from '../kconfig/verdict.ts';
import type { WholeReading } from '../kconfig/tree-questions.ts';
import { commandCodes } from './codes.ts';

/** What a configuration is put together from. */
export interface ConfigParts {
  /** The patched tree, or its pack. */
  readonly files: ListedFiles;
  readonly tree: WholeReading;
  readonly base: (
    | { readonly kind: 'target'; readonly target: string }
    /** A `.config`, in latin1, and its name. */
    | { readonly kind: 'file'; readonly file: string; readonly text: string }
  ) & {
    /** Where a spec names it. */
    readonly named?: { readonly span?: Span | undefined; readonly sources: ReadonlyMap<string, string> };
  };
  /** In the order in which they count. */
  readonly requests: readonly Request[];
}

export interface TreeConfig {
  /** The `.config`, in latin1. */
  readonly text: string;
  readonly base: { readonly file: string; readonly text: string };
  readonly verdicts: readonly Verdict[];
  /** For whoever asks why. */
  readonly explain: ExplainInput;
  readonly diagnostics: readonly Diagnostic[];
}

/**
 * Works a configuration out: the base, the requests over it, brought up to date as the tree's own program does.
 *
 * @throws Failure `command/no-base`, what is wrong with a given base, and with all that is wrong in the tree's Kconfig files
 */
export function configureTree({ files, tree, base, requests }: ConfigParts): TreeConfig {
  const { make, parsed, answers } = tree;
  const { model } = parsed;
  if (!model || exitOf(parsed.diagnostics) !== exitCodes.ok) {
    throw new Failure(parsed.diagnostics, { sources: parsed.sources });
  }
  const { named } = base;
  const fit = base.kind === 'file' ? configFit(base.text, base.file, make, named?.span) : [];
  if (exitOf(fit) !== exitCodes.ok) throw new Failure(fit, named);
  const start = base.kind === 'file' ? base : { file: base.target, text: makeBase(base.target) };
  const { text: composed, origins, originOf } = compose(start, requests);
  const { evaluation, text, warnings } = configure(model, 'olddefconfig', composed);
  // those of requests have their verdicts, and a base from the tree itself is nobody's to mend
  const asked = new Set(requests.map(({ option }) => option));
  const ofBase =
    base.kind === 'file'
      ? warnings
          .filter(({ option }) => !asked.has(option))
          .map((warning) => ({ ...warning, line: origins[warning.line - 1]?.line ?? 1 }))
      : [];
  const explain: ExplainInput = {
    evaluation,
    requests,
    originOf,
    tree: {
      files,
      probes: probesOf(answers),
      environment: make.variables,
      paths: () => files.paths(),
    },
  };
  return {
    text,
    base: start,
    verdicts: judgeRequests(explain),
    explain,
    diagnostics: [...parsed.diagnostics, ...fit, ...configDiagnostics(ofBase, start.file, start.text)],
  };

  function makeBase(target: string): string {
    const { sourceArch, defconfig } = make;
    const recipe = baseRecipe(files, { target, sourceArch, defconfig });
    const made = recipe && model && baseConfig(model, files, recipe);
    if (made !== undefined) return made;
    throw new Failure(
      commandCodes.report('command/no-base', {
        message: `this tree has no configuration ${quoted(target)} for ${quoted(sourceArch)}`,
        span: named?.span,
        help: `Those of its own are in arch/${sourceArch}/configs; every tree has defconfig, tinyconfig, allnoconfig and allmodconfig.`,
      }),
      named,
    );
  }
}
