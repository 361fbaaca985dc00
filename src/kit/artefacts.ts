import { architectureFacts, type Architecture, type OptionOn } from '../environment/architectures.ts';
import type { Spec } from '../spec/spec.ts';

/** Artefacts by their trade names; that of the image hangs on architecture and configuration. */
export const artefactFiles = {
  symbols: 'System.map',
  config: 'kernel.config',
  modules: 'modules.tar.xz',
  vmlinux: 'vmlinux',
} as const;

/** The kernel image that a build leaves. */
export interface ImageFile {
  /** In the tree. */
  readonly path: string;
  readonly name: string;
}

/** @throws Error for an architecture that nothing is built for */
export function imageFile(arch: Architecture, config: string): ImageFile {
  const { build } = architectureFacts(arch);
  if (!build) throw new Error(`no kernel is built for ${arch}`);
  const path = build.image(optionOn(config));
  return { path, name: path.slice(path.lastIndexOf('/') + 1) };
}

/** What a build leaves, under its trade names and in this order. Modules need a configuration that has them. */
export function artefactNames(spec: Pick<Spec, 'outputs' | 'arch'>, config: string): readonly string[] {
  const wanted = new Set(spec.outputs);
  const image = imageFile(spec.arch, config).name;
  return [
    image,
    artefactFiles.symbols,
    artefactFiles.config,
    ...(wanted.has('modules') && hasModules(config) ? [artefactFiles.modules] : []),
    ...(wanted.has('vmlinux') && image !== artefactFiles.vmlinux ? [artefactFiles.vmlinux] : []),
  ];
}

export function hasModules(config: string): boolean {
  return optionOn(config)('MODULES');
}

function optionOn(config: string): OptionOn {
  const lines = new Set(config.split('\n'));
  return (option) => lines.has(`CONFIG_${option}=y`);
}
