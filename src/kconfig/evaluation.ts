/**
 * What the symbols of a model are worth. Made by `configure`; whoever explains or judges a configuration asks here.
 * All answers are worked out already: asking costs little and changes nothing.
 */
import type {
  Choice,
  ConfigSymbol,
  Default,
  Expr,
  MenuNode,
  Model,
  Property,
  Range,
  Tristate,
} from './model.ts';

export interface Evaluation {
  readonly model: Model;
  /** Of a bool or tristate; n for every other symbol. */
  tristateOf(symbol: ConfigSymbol): Tristate;
  /** As text: y, m, n, a number as it is written, a string without quotes; of an undefined symbol its name. */
  valueOf(symbol: ConfigSymbol): string;
  /** How high a person may set it: the highest of its prompts' conditions. n: it cannot be set by hand. */
  visibilityOf(symbol: ConfigSymbol): Tristate;
  /** The value that the configuration asked for, if it was one that the type can have; it may not have been taken. */
  userValueOf(symbol: ConfigSymbol): string | undefined;
  /** It has a line in the `.config`. */
  isWritten(symbol: ConfigSymbol): boolean;
  /** What all `depends on` around its definitions come to; what is below is selected against its dependencies. */
  dependenciesOf(symbol: ConfigSymbol): Tristate;
  /** The value below which it cannot be, since others select it. */
  selectedTo(symbol: ConfigSymbol): Tristate;
  /** The value that it has when nobody sets it, since others imply it. */
  impliedTo(symbol: ConfigSymbol): Tristate;
  /** In older trees the value of the choice; in newer ones y when a member can be chosen. */
  modeOf(choice: Choice): Tristate;
  /** The member that is y. */
  chosenOf(choice: Choice): ConfigSymbol | undefined;
  /** The value of a condition; y for none. */
  calculate(expr: Expr | undefined): Tristate;
  /** What all dependencies of an entry come to, those around it included. */
  nodeDependency(node: MenuNode): Tristate;
  /** Whether an attribute counts: its own condition and the dependencies of its entry (for a prompt `visible if` too). */
  conditionOf(property: Property): Tristate;
  /** The first default that counts. */
  activeDefault(symbol: ConfigSymbol): Default | undefined;
  /** The first range that counts. */
  activeRange(symbol: ConfigSymbol): Range | undefined;
  /** Selected higher than their dependencies allow: the kernel's program warns of these. */
  readonly unmet: readonly ConfigSymbol[];
}
