/**
 * The Kconfig engine as a library, published as `quern/kconfig`: pure and synchronous, without any module of Node, so
 * that it runs in a browser as well. Texts are latin1 strings: one character per byte.
 *
 * `parseTree` reads the Kconfig files of a kernel tree into a `Model`; `configure` works out a configuration of it, byte
 * for byte the one that the kernel's own program writes.
 */
export { baseConfig, mergeFragment } from './base-config.ts';
export { baseRecipe, type BaseRecipe, type BaseRequest } from './base-recipe.ts';
export type { ExplainInput } from './circumstances.ts';
export { compose, type Composition, type Override } from './compose.ts';
export { configDiagnostics } from './config-diagnostics.ts';
export { configure, saveDefconfig, type ConfigMode, type Configuration } from './configure.ts';
export { detectDialect, dialectFiles, dialects, type Dialect } from './dialect.ts';
export type { Evaluation } from './evaluation.ts';
export { explainOption, explainValue, type Explanation } from './explain-option.ts';
export { explanationText } from './explanation-text.ts';
export { expressionText, symbolText } from './expression-text.ts';
export { helpText } from './help-text.ts';
export { decodeLatin1, encodeLatin1 } from './latin1.ts';
export type { MakeEnvironment, MakeRequest } from './make-environment.ts';
export { restoreModel, storeModel } from './model-store.ts';
export type {
  Choice,
  ChoiceDefault,
  ConfigSymbol,
  Default,
  Dependency,
  Expr,
  HelpSpan,
  MenuNode,
  Model,
  Place,
  Prompt,
  Property,
  Range,
  Selection,
  Tristate,
} from './model.ts';
export { createPack, decodePack, encodePack, type Pack, type PackBytes, type PackFile } from './pack.ts';
export { parseTree, type ParsedTree, type ParseInput } from './parse-tree.ts';
export type { Questions } from './probe-exchange.ts';
export type { Probes } from './probes.ts';
export type { ConfigWarning, ConfigWarningKind } from './read-config.ts';
export { fragmentRequests, type Origin, type Request } from './requests.ts';
export type { Column, Comparison, NodeKind, PropertyColumns, Rules, SymbolType } from './rules.ts';
export type { ListedFiles, TreeFiles } from './tree-files.ts';
export { readTree, type Answers, type TreeReading } from './tree-questions.ts';
export { judgeRequests, type Verdict, type VerdictKind } from './verdict.ts';
