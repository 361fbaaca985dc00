import type { Spec } from '../spec/spec.ts';

/** Artefacts by their trade names. */
export const artefactFiles = {
  x86Image: 'bzImage',
  symbols: 'System.map',
  config: 'kernel.config',
  modules: 'modules.tar.xz',
  vmlinux: 'vmlinux',
} as const;

/** What a build leaves, under its trade names and in this order. Modules need a configuration that has them. */
export function artefactNames(spec: Pick<Spec, 'outputs'>, config: string): readonly string[] {
  const wanted = new Set(spec.outputs);
  return [
    artefactFiles.x86Image,
    artefactFiles.symbols,
    artefactFiles.config,
    ...(wanted.has('modules') && hasModules(config) ? [artefactFiles.modules] : []),
    ...(wanted.has('vmlinux') ? [artefactFiles.vmlinux] : []),
  ];
}

export function hasModules(config: string): boolean {
  return /^CONFIG_MODULES=y$/mu.test(config);
}
