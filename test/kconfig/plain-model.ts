import type { Expr, Model, Property } from '../../src/kconfig/model.ts';
import type { Column, Rules } from '../../src/kconfig/rules.ts';

/** All that a model says, in plain records without circles: what is said of another record is its index. */
export function plainModel(model: Model): unknown {
  const { symbols, choices, nodes, byName, modules, defconfigList, order, rules, ...rest } = model;
  return {
    ...rest,
    modules: modules?.id,
    defconfigList: defconfigList?.id,
    order: [...order],
    rules: plainRules(rules),
    byName: [...byName].map(([name, { id }]) => [name, id]),
    symbols: symbols.map((one) => ({
      id: one.id,
      name: one.name,
      constant: one.constant,
      type: one.type,
      nodes: one.nodes.map(({ id }) => id),
      prompts: one.prompts.map((prompt) => ({ ...place(prompt), text: prompt.text })),
      defaults: one.defaults.map((line) => ({ ...place(line), value: plainExpr(line.value) })),
      ranges: one.ranges.map((line) => ({ ...place(line), low: line.low.id, high: line.high.id })),
      selects: one.selects.map(selection),
      implies: one.implies.map(selection),
      selectedBy: one.selectedBy.map(selection),
      impliedBy: one.impliedBy.map(selection),
      choice: one.choice?.id,
      allnoconfigY: one.allnoconfigY,
      transitional: one.transitional,
    })),
    choices: choices.map((one) => ({
      id: one.id,
      name: one.name,
      type: one.type,
      optional: one.optional,
      nodes: one.nodes.map(({ id }) => id),
      prompts: one.prompts.map((prompt) => ({ ...place(prompt), text: prompt.text })),
      defaults: one.defaults.map((line) => ({ ...place(line), member: line.member.id })),
      members: one.members.map(({ id }) => id),
    })),
    nodes: nodes.map((one) => ({
      id: one.id,
      kind: one.kind,
      file: one.file,
      line: one.line,
      parent: one.parent?.id,
      children: one.children.map(({ id }) => id),
      symbol: one.symbol?.id,
      choice: one.choice?.id,
      prompt: one.prompt && { ...place(one.prompt), text: one.prompt.text },
      // which of the prompts of its symbol or choice that is
      place: (one.symbol ?? one.choice)?.prompts.findIndex((prompt) => prompt === one.prompt),
      dependencies: one.dependencies.map(({ file, line, expr, conditional }) => ({
        file,
        line,
        expr: plainExpr(expr),
        conditional: conditional && [plainExpr(conditional.needs), plainExpr(conditional.when)],
      })),
      visibleIf: one.visibleIf.map(plainExpr),
      help: one.help,
    })),
  };
}

function place({ node, file, line, condition }: Property): object {
  return { node: node.id, file, line, condition: condition && plainExpr(condition) };
}

function selection(line: Model['symbols'][number]['selects'][number]): object {
  return { ...place(line), selector: line.selector.id, target: line.target.id };
}

function plainExpr(expr: Expr): unknown {
  switch (expr.kind) {
    case 'symbol':
      return expr.symbol.id;
    case 'modular':
      return 'modular';
    case 'not':
      return [expr.kind, plainExpr(expr.operand)];
    case 'and':
    case 'or':
      return [expr.kind, ...expr.operands.map(plainExpr)];
    case 'compare':
      return [expr.operator, expr.left.id, expr.right.id];
  }
}

/** Columns as lists of numbers: a restored model has further ones, and narrower. */
function plainRules(rules: Rules): unknown {
  return Object.fromEntries(
    Object.entries(ruleColumns).map(([table, names]) => {
      const columns = new Map<string, Column>(Object.entries(rules[table as keyof Rules]));
      return [table, names.map((name) => Array.from(columns.get(name) ?? []))];
    }),
  );
}

const ruleColumns: { readonly [T in keyof Rules]: readonly (string & keyof Rules[T])[] } = {
  symbols: ['type', 'flags', 'choice', 'nodes', 'prompts', 'defaults', 'ranges', 'selectedBy', 'impliedBy'],
  symbolNodes: ['node'],
  prompts: ['node', 'condition'],
  defaults: ['node', 'condition', 'value'],
  ranges: ['node', 'condition', 'low', 'high'],
  selects: ['node', 'condition'],
  implies: ['node', 'condition'],
  choices: ['type', 'flags', 'prompts', 'defaults', 'members'],
  choicePrompts: ['node', 'condition'],
  choiceDefaults: ['node', 'condition', 'member'],
  members: ['symbol'],
  nodes: ['kind', 'parent', 'symbol', 'choice', 'dependencies', 'visibleIf'],
  titles: ['node', 'condition'],
  dependencies: ['expr', 'needs', 'when'],
  visibleIf: ['expr'],
  exprs: ['operator', 'operands'],
  operands: ['row'],
};
