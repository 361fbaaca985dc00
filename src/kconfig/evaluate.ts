import {
  activeDefault,
  activeRange,
  calculate,
  conditionOf,
  ensureValue,
  modeOf,
  nodeDependency,
  promptCondition,
  textOf,
  tristateOf,
} from './calculate.ts';
import { tristateAt, type EvalState } from './eval-state.ts';
import type { Evaluation } from './evaluation.ts';
import type { Property } from './model.ts';

/** Works out all that is not worked out yet, each symbol after those it rests on. */
export function evaluateAll(state: EvalState, order: Int32Array = state.model.order): void {
  const { symbols, choices } = state.model;
  for (let place = 0; place < order.length; place += 1) {
    const index = order[place] ?? 0;
    if (index >= 0) {
      const symbol = symbols[index];
      if (symbol) ensureValue(state, symbol);
    } else {
      const choice = choices[~index];
      if (choice) modeOf(state, choice);
    }
  }
}

/** The view of a state from outside. */
export function evaluationOf(state: EvalState): Evaluation {
  // The text of a menu or comment does not heed `visible if` around it.
  const isPrompt = (property: Property): boolean =>
    'text' in property && (property.node.symbol ?? property.node.choice) !== undefined;
  const tristateNames = ['n', 'm', 'y'] as const;
  return {
    model: state.model,
    tristateOf: (symbol) => tristateOf(state, symbol),
    valueOf: (symbol) => textOf(state, symbol),
    visibilityOf: ({ id }) => tristateAt(state.visible, id),
    userValueOf({ id, type }) {
      if (state.hasUser[id] !== 1) return undefined;
      if (type !== 'bool' && type !== 'tristate') return state.userText[id];
      return tristateNames[tristateAt(state.userTri, id)];
    },
    isWritten: ({ id }) => state.written[id] === 1,
    dependenciesOf: ({ id }) => tristateAt(state.dependencies, id),
    selectedTo: ({ id }) => tristateAt(state.selected, id),
    impliedTo: ({ id }) => tristateAt(state.implied, id),
    modeOf: (choice) => modeOf(state, choice),
    chosenOf(choice) {
      const chosen = state.chosen[choice.id];
      // A default that is none of the members may be chosen: then no member is.
      return chosen?.choice === choice ? chosen : undefined;
    },
    calculate: (expr) => calculate(state, expr),
    nodeDependency: (node) => nodeDependency(state, node),
    conditionOf: (property) =>
      isPrompt(property) ? promptCondition(state, property) : conditionOf(state, property),
    activeDefault: (symbol) => activeDefault(state, symbol),
    activeRange: (symbol) => activeRange(state, symbol),
    unmet: [...state.unmet],
  };
}
