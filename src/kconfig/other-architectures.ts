import type { Model, Place } from './model.ts';
import type { TreeFiles } from './tree-files.ts';

export interface DefinedElsewhere {
  /** Folders below `arch/`, sorted. */
  readonly architectures: readonly string[];
  readonly places: readonly Place[];
}

export interface OtherArchitectures {
  /** @returns `undefined` when no Kconfig file of another architecture defines it either */
  find(option: string): DefinedElsewhere | undefined;
}

const kconfigFile = /(?:^|\/)Kconfig[^/]*$/;
const noKconfig = /^(?:Documentation|tools|scripts\/kconfig)\//;

/**
 * The options of a tree that only other architectures have: those in Kconfig files that were not read.
 *
 * @param paths all files of the tree, or of its pack
 */
export function otherArchitectures(
  files: TreeFiles,
  paths: () => Iterable<string>,
  model: Model,
): OtherArchitectures {
  let index: ReadonlyMap<string, readonly Place[]> | undefined;
  let texts: ReadonlyMap<string, string>;

  function readAll(): ReadonlyMap<string, readonly Place[]> {
    const read = new Set(model.files);
    const found = new Map<string, Place[]>();
    const kept = new Map<string, string>();
    for (const file of [...paths()].sort()) {
      if (!kconfigFile.test(file) || noKconfig.test(file) || read.has(file)) continue;
      const text = files.read(file) ?? '';
      kept.set(file, text);
      if (!text.includes('config')) continue;
      for (const [nth, line] of text.split('\n').entries()) {
        const name = /^[ \t]*(?:menu)?config[ \t]+(\w+)[ \t]*$/.exec(line)?.[1];
        if (name === undefined) continue;
        const place = { file, line: nth + 1 };
        const known = found.get(name);
        if (known) known.push(place);
        else found.set(name, [place]);
      }
    }
    texts = kept;
    return found;
  }

  function architecturesOf({ file }: Place): readonly string[] {
    const own = architectureOf(file);
    if (own !== undefined) return [own];
    return [...texts].flatMap(([path, text]) => {
      const arch = architectureOf(path);
      return arch !== undefined && text.includes(`source "${file}"`) ? [arch] : [];
    });
  }

  return {
    find(option) {
      index ??= readAll();
      const places = index.get(option);
      if (!places) return undefined;
      const architectures = [...new Set(places.flatMap(architecturesOf))].sort();
      return { architectures, places };
    },
  };
}

function architectureOf(file: string): string | undefined {
  return /^arch\/([^/]+)\//.exec(file)?.[1];
}
