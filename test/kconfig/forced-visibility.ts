/**
 * The visibility of a symbol with some terms held at a value, everything else staying as it is: written once more, from
 * the rules (menu_finalize and sym_calc_visibility of the kernel's scripts/kconfig), to check the terms that a verdict
 * names.
 */
import type { Evaluation } from '../../src/kconfig/evaluation.ts';
import { expressionText } from '../../src/kconfig/expression-text.ts';
import type { Choice, ConfigSymbol, Expr, MenuNode, Place, Prompt } from '../../src/kconfig/model.ts';
import type { Term } from '../../src/kconfig/reason.ts';

/** Numbers 0, 1, 2 for n, m, y. */
type Level = number;

export interface Forced {
  readonly values: ReadonlyMap<string, Level>;
  /** Comparisons by their text. */
  readonly comparisons: ReadonlyMap<string, Level>;
  /** Constants by their name and the line that they stand in: each may be the answer of a probe. */
  readonly constants?: ReadonlyMap<string, Level>;
}

export function forcedBy(terms: readonly Term[]): Forced {
  const values = new Map<string, Level>();
  const comparisons = new Map<string, Level>();
  const constants = new Map<string, Level>();
  for (const { term, option, needs, file, line } of terms) {
    const states = needs.split(' or ');
    const plain = option !== undefined && states.every((state) => /^[nmy]$/u.test(state));
    const level = states.includes('y') ? 2 : states.includes('n') ? 0 : 1;
    if (plain) values.set(option, level);
    else if (/^!?[nmy]$/u.test(term)) constants.set(`${term.replace('!', '')} ${file}:${line}`, level);
    else if (/^!\((.*)\)$/u.test(term)) comparisons.set(term.slice(2, -1), 0);
    else comparisons.set(term, 2);
  }
  return { values, comparisons, constants };
}

export function visibilityWith(evaluation: Evaluation, symbol: ConfigSymbol, forced: Forced): Level {
  const { model } = evaluation;

  function valueOf({ name, constant, id }: ConfigSymbol, { file, line }: Place): Level {
    const symbolValue = model.symbols[id];
    const own = constant ? forced.constants?.get(`${name} ${file}:${line}`) : forced.values.get(name);
    return own ?? (symbolValue ? evaluation.tristateOf(symbolValue) : 0);
  }

  function calculate(expr: Expr, place: Place): Level {
    switch (expr.kind) {
      case 'symbol':
        return valueOf(expr.symbol, place);
      case 'modular':
        return model.modules ? Math.min(1, valueOf(model.modules, place)) : 0;
      case 'not':
        return 2 - calculate(expr.operand, place);
      case 'and':
        return Math.min(...expr.operands.map((one) => calculate(one, place)));
      case 'or':
        return Math.max(...expr.operands.map((one) => calculate(one, place)));
      case 'compare': {
        const text = expressionText(expr);
        const { left, right, operator } = expr;
        const touched = [left, right].some(({ name, constant }) => !constant && forced.values.has(name));
        const fixed = forced.comparisons.get(text);
        if (fixed !== undefined) return fixed;
        if (!touched) return evaluation.calculate(expr);
        const number = (one: ConfigSymbol): number => {
          const state = one.type === 'bool' || one.type === 'tristate' || forced.values.has(one.name);
          return state ? valueOf(one, place) : Number(evaluation.valueOf(one) || Number.NaN);
        };
        const difference = number(left) - number(right);
        if (Number.isNaN(difference)) return evaluation.calculate(expr);
        const sign = { '=': [0], '!=': [-1, 1], '<': [-1], '<=': [-1, 0], '>': [1], '>=': [0, 1] }[operator];
        return sign.includes(Math.sign(difference)) ? 2 : 0;
      }
    }
  }

  function dependencyOf(node: MenuNode): Level {
    let value = Math.min(2, ...node.dependencies.map((one) => calculate(one.expr, one)));
    const { parent } = node;
    if (parent?.choice && model.dialect.choiceHasValue) {
      const mode = choiceMode(parent.choice);
      if (parent.choice.type === 'tristate' && node.symbol?.type !== 'tristate' && mode !== 2) return 0;
      value = Math.min(value, mode);
    } else if (parent) value = Math.min(value, dependencyOf(parent));
    return value;
  }

  /** A choice that is shown has a value once one of its members is shown. */
  function choiceMode(choice: Choice): Level {
    const text = choice.prompts[0]?.text ?? choice.name ?? 'choice';
    if (forced.comparisons.has(text)) return 2;
    const shown = Math.max(0, ...choice.prompts.map(promptValue));
    if (shown === 0) return 0;
    // What its members are asked to be decides how high it is: that is not known any more once it is shown higher.
    const now = evaluation.modeOf(choice);
    if (now !== 0 || choice.optional) return now;
    return choice.type === 'bool' ? 2 : shown;
  }

  function promptValue(prompt: Prompt): Level {
    let value = Math.min(
      dependencyOf(prompt.node),
      prompt.condition ? calculate(prompt.condition, prompt) : 2,
    );
    for (let block = prompt.node.parent; block; block = block.parent) {
      value = Math.min(value, ...visibleIn(block));
    }
    return value;
  }

  function visibleIn(block: MenuNode): readonly Level[] {
    return block.visibleIf.map((expr) => calculate(expr, block));
  }

  const visible = Math.max(0, ...symbol.prompts.map(promptValue));
  return visible === 1 && symbol.type !== 'tristate' ? 2 : visible;
}
