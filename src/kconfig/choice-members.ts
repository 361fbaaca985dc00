/** Which entries of a choice are its members, in trees whose choices have a value. */
import type { DraftNode } from './draft.ts';
import { finishedMenu } from './finished-menu.ts';

/** The entries that stay on the level of the choice itself, once its menu is finished and `if` blocks are dissolved. */
export function directMembers(choice: DraftNode): readonly DraftNode[] {
  const above = finishedMenu(choice, true);
  return [...above.keys()].filter((node) => {
    let block = above.get(node);
    while (block && block !== choice && !block.prompt) block = above.get(block);
    return node.symbol && block === choice;
  });
}
