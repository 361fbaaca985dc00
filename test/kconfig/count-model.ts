import type { Model } from '../../src/kconfig/model.ts';
import type { SymbolType } from '../../src/kconfig/rules.ts';
import type { KconfigCounts } from '../oracle/kconfig-counts.ts';

/** The same counts of a model as kconfig-counts.c takes of the kernel's own. */
export function countModel({ files, nodes, symbols, choices }: Model): KconfigCounts {
  const defined = symbols.filter((symbol) => symbol.nodes.length > 0);
  const kinds = (...wanted: readonly string[]): number =>
    nodes.filter(({ kind }) => wanted.includes(kind)).length;
  const ofType = (type: SymbolType): number => defined.filter((symbol) => symbol.type === type).length;
  const total = (lengths: readonly { readonly length: number }[]): number =>
    lengths.reduce((sum, { length }) => sum + length, 0);
  const titles = nodes.filter(({ kind, prompt }) => kind === 'menuconfig' && prompt !== undefined).length;
  const prompts = total([...defined, ...choices].map((one) => one.prompts));
  return {
    files: files.length,
    entries: kinds('config', 'menuconfig', 'choice'),
    symbols: defined.length,
    bool: ofType('bool'),
    tristate: ofType('tristate'),
    int: ofType('int'),
    hex: ofType('hex'),
    string: ofType('string'),
    untyped: ofType('unknown'),
    choices: choices.length,
    choice_members: total(choices.map(({ members }) => members)),
    tristate_choices: choices.filter(({ type }) => type === 'tristate').length,
    optional_choices: choices.filter(({ optional }) => optional).length,
    menus: kinds('menu'),
    menuconfigs: titles,
    comments: kinds('comment'),
    ifs: kinds('if'),
    prompts: prompts - titles,
    defaults: total([...defined, ...choices].map(({ defaults }) => defaults)),
    selects: total(defined.map(({ selects }) => selects)),
    implies: total(defined.map(({ implies }) => implies)),
    ranges: total(defined.map(({ ranges }) => ranges)),
  };
}
