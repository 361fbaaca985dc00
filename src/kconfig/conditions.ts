import type { Choice, Default, Expr, MenuNode, Model, Place, Prompt, Property } from './model.ts';

/** One of the conditions that have to hold together, and where it is written. */
export type Condition = Place &
  (
    | { readonly expr: Expr }
    /** Older trees: the choice around must have a value, for some members (`whole`) y. */
    | { readonly choice: Choice; readonly whole: boolean }
  );

/** All that must hold for a prompt to be shown: its own condition, and what stands around it up to the root. */
export function promptConditions(model: Model, prompt: Prompt): readonly Condition[] {
  const conditions = propertyConditions(model, prompt);
  for (let block: MenuNode | undefined = prompt.node.parent; block; block = block.parent) {
    for (const expr of block.visibleIf) conditions.push({ expr, file: block.file, line: block.line });
  }
  return conditions;
}

/** All that must hold for a default to be taken at a value of its own that is not n. */
export function defaultConditions(model: Model, one: Default): readonly Condition[] {
  return [...propertyConditions(model, one), { expr: one.value, file: one.file, line: one.line }];
}

function propertyConditions(model: Model, { node, condition, file, line }: Property): Condition[] {
  const conditions: Condition[] = condition ? [{ expr: condition, file, line }] : [];
  conditions.push(...nodeConditions(model, node));
  return conditions;
}

/** What an entry depends on, from the nearest to the outermost. */
export function nodeConditions(model: Model, node: MenuNode): readonly Condition[] {
  const conditions: Condition[] = [];
  for (let block: MenuNode | undefined = node; block; block = block.parent) {
    for (const { expr, file, line } of block.dependencies) conditions.push({ expr, file, line });
    const choice = block.parent?.choice;
    if (!choice || !model.dialect.choiceHasValue) continue;
    // The value of the choice stands for all that is around it.
    const [prompt] = choice.prompts;
    if (prompt) conditions.push(...promptConditions(model, prompt));
    const { file, line } = choice.nodes[0] ?? block;
    const whole = choice.type === 'tristate' && node.symbol?.type !== 'tristate';
    conditions.push({ choice, whole, file, line });
    break;
  }
  return conditions;
}
