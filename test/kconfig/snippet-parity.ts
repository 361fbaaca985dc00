/** Random small Kconfig files, put to the kernel's own program of several generations and to our engine. */
import fc from 'fast-check';

import { differences } from '../oracle/kconfig-parity.ts';
import { parseSnippet, type Generation, type SnippetReferee } from '../oracle/kconfig-snippets.ts';
import { printConfig, printKconfig, randomConfig, randomKconfig } from '../oracle/random-kconfig.ts';

/** What became of the cases so far. */
export interface SnippetTally {
  /** Every byte was the same. */
  equal: number;
  /** Both refuse the Kconfig file. */
  refused: number;
  /** The kernel's own program crashed: there is nothing to compare with. */
  crashed: number;
}

const mode = fc.constantFrom(
  'olddefconfig',
  'olddefconfig',
  'olddefconfig',
  'defconfig',
  'alldefconfig',
  'allnoconfig',
  'allyesconfig',
  'allmodconfig',
);

/** The property that nothing differs, for `fc.assert`. */
export function sameAsConf(
  generations: readonly Generation[],
  referee: SnippetReferee,
  tally: SnippetTally,
): fc.IAsyncProperty<unknown> {
  return fc.asyncProperty(randomKconfig, randomConfig, mode, async (kconfig, lines, chosen) => {
    const config = printConfig(lines);
    for (const generation of generations) {
      const snippet = { Kconfig: printKconfig(kconfig, generation.series) };
      const found = await compareSnippet(generation, referee, { snippet, mode: chosen, config }, tally);
      if (found.length > 0) throw new Error(`${found.join('\n')}\n${snippet.Kconfig}\n${config}`);
    }
  });
}

interface SnippetCase {
  readonly snippet: Readonly<Record<string, string>>;
  readonly mode: Parameters<typeof differences>[0]['mode'];
  readonly config: string;
}

async function compareSnippet(
  generation: Generation,
  referee: SnippetReferee,
  { snippet, mode: chosen, config }: SnippetCase,
  tally: SnippetTally,
): Promise<readonly string[]> {
  const { status, stderr } = await referee.ask(generation, snippet, { mode: 'olddefconfig', config });
  const { model, diagnostics } = parseSnippet(generation, snippet);
  if (status >= 128) {
    tally.crashed += 1;
    return [];
  }
  if (status !== 0 || !model) {
    tally.refused += 1;
    if (status !== 0 && !model) return [];
    const ours = model ? 'we have a model' : diagnostics.map(({ message }) => message).join('; ');
    return [`${generation.series}: conf ended with ${status}: ${stderr}; ${ours}`];
  }
  tally.equal += 1;
  return differences(
    { name: `${generation.series} ${chosen}`, mode: chosen, text: config, saveText: true },
    (job) => referee.ask(generation, snippet, job),
    model,
  );
}
