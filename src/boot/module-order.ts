/** A module by the name the kernel knows it by, and the modules that must be there before it. */
export interface ModuleNode {
  readonly name: string;
  readonly depends: readonly string[];
}

/** The kernel knows a module whose file is called `snd-pcm.ko` as `snd_pcm` (KBUILD_MODNAME). */
export function moduleName(fileName: string): string {
  return fileName.replace(/\.ko(\.\w+)?$/, '').replaceAll('-', '_');
}

/**
 * The wanted modules and all they depend on, each behind what it depends on. Those that depend on nothing of each
 * other keep the order in which they are wanted. Names that no module has are left out: what they stand for is
 * built in, or loading will say that it is missing.
 */
export function orderModules(
  modules: ReadonlyMap<string, ModuleNode>,
  wanted: readonly string[],
): readonly string[] {
  const ordered: string[] = [];
  const seen = new Set<string>();
  // A stack of its own: the depth of the dependencies is a stranger's choice.
  const stack = wanted.toReversed().map((name) => ({ name, entered: false }));
  for (let top = stack.pop(); top; top = stack.pop()) {
    const node = modules.get(top.name);
    if (top.entered) ordered.push(top.name);
    else if (node && !seen.has(top.name)) {
      seen.add(top.name);
      stack.push({ name: top.name, entered: true });
      stack.push(...node.depends.toReversed().map((name) => ({ name: moduleName(name), entered: false })));
    }
  }
  return ordered;
}
