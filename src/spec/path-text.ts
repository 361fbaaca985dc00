import type { YamlPath } from './yaml-tree.ts';

/** A place in words: `config.fragments[0]`; `root` for the whole. */
export function pathText(path: YamlPath, root: string): string {
  if (path.length === 0) return root;
  return path
    .map((step, index) => (typeof step === 'number' ? `[${step}]` : index === 0 ? step : `.${step}`))
    .join('');
}
