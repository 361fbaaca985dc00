import {
  activeDefault,
  activeRange,
  calculateRecord,
  ensureValue,
  modeOf,
  nodeDependency,
  recordCondition,
  textOf,
  tristateOf,
} from './calculate.ts';
import { asTristate, type EvalState } from './eval-state.ts';
import type { Evaluation } from './evaluation.ts';
import type { Property } from './model.ts';
import { startOf } from './rules.ts';

/** Works out all that is not worked out yet, each symbol after those it rests on. */
export function evaluateAll(state: EvalState, order: Int32Array = state.model.order): void {
  for (let place = 0; place < order.length; place += 1) {
    const index = order[place] ?? 0;
    if (index >= 0) ensureValue(state, index);
    else modeOf(state, ~index);
  }
}

/** The view of a state from outside. */
export function evaluationOf(state: EvalState): Evaluation {
  const { model, rules } = state;
  // The text of a menu or comment does not heed `visible if` around it.
  const isPrompt = (property: Property): boolean =>
    'text' in property && (property.node.symbol ?? property.node.choice) !== undefined;
  const tristateNames = ['n', 'm', 'y'] as const;
  return {
    model,
    tristateOf: ({ id }) => asTristate(tristateOf(state, id)),
    valueOf: ({ id }) => textOf(state, id),
    visibilityOf: ({ id }) => asTristate(state.visible[id]),
    userValueOf({ id, type }) {
      if (state.hasUser[id] !== 1) return undefined;
      if (type !== 'bool' && type !== 'tristate') return state.userText[id];
      return tristateNames[asTristate(state.userTri[id])];
    },
    isWritten: ({ id }) => state.written[id] === 1,
    dependenciesOf: ({ id }) => asTristate(state.dependencies[id]),
    selectedTo: ({ id }) => asTristate(state.selected[id]),
    impliedTo: ({ id }) => asTristate(state.implied[id]),
    modeOf: ({ id }) => asTristate(modeOf(state, id)),
    chosenOf(choice) {
      const chosen = model.symbols[state.chosen[choice.id] ?? -1];
      // A default that is none of the members may be chosen: then no member is.
      return chosen?.choice === choice ? chosen : undefined;
    },
    calculate: (expr) => asTristate(calculateRecord(state, expr)),
    nodeDependency: ({ id }) => asTristate(nodeDependency(state, id)),
    conditionOf: (property) => asTristate(recordCondition(state, property, isPrompt(property))),
    activeDefault: ({ id, defaults }) =>
      defaults[activeDefault(state, id) - startOf(rules.symbols.defaults, id)],
    activeRange: ({ id, ranges }) => ranges[activeRange(state, id) - startOf(rules.symbols.ranges, id)],
    unmet: Array.from(state.unmet, (id) => model.symbols[id]).filter((symbol) => symbol !== undefined),
  };
}
