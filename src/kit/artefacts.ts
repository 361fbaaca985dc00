import {
  architectureFacts,
  debianArchitecture,
  type Architecture,
  type OptionOn,
} from '../environment/architectures.ts';
import { vermagic, type Vermagic } from '../environment/vermagic.ts';
import type { Spec } from '../spec/spec.ts';

/** Artefacts by their trade names; that of the image hangs on architecture and configuration. */
export const artefactFiles = {
  symbols: 'System.map',
  config: 'kernel.config',
  modules: 'modules.tar.xz',
  vmlinux: 'vmlinux',
  deviceTrees: 'dtbs.tar.xz',
  headers: 'headers.tar.xz',
  moduleBuild: 'extmod-build.tar.xz',
  debug: 'debug.tar.xz',
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

/** What of a spec decides about artefacts. */
type BuiltPart = Pick<Spec, 'outputs' | 'arch'>;

/**
 * What a build leaves, under its trade names and in this order, as far as the configuration has it.
 *
 * @param kernelRelease goes into the names of packages
 */
export function artefactNames(spec: BuiltPart, config: string, kernelRelease: string): readonly string[] {
  const wanted = new Set(spec.outputs);
  const image = imageFile(spec.arch, config).name;
  const modules = hasModules(config);
  const debug = wanted.has('debug') && hasDebugInformation(config);
  return [
    image,
    artefactFiles.symbols,
    artefactFiles.config,
    ...(wanted.has('modules') && modules ? [artefactFiles.modules] : []),
    ...(wanted.has('vmlinux') && image !== artefactFiles.vmlinux ? [artefactFiles.vmlinux] : []),
    ...(wanted.has('dtbs') && hasDeviceTrees(spec.arch, config) ? [artefactFiles.deviceTrees] : []),
    ...(wanted.has('headers') ? [artefactFiles.headers] : []),
    ...(wanted.has('extmod-build') && modules ? [artefactFiles.moduleBuild] : []),
    ...(debug ? [artefactFiles.debug] : []),
    ...(wanted.has('deb') ? [debianPackage(spec.arch, config, kernelRelease).file] : []),
  ];
}

/** A package for Debian. */
export interface DebianPackage {
  readonly name: string;
  readonly version: string;
  /** Debian's name of the machines. */
  readonly architecture: string;
  readonly file: string;
}

/**
 * The package with image and modules. What Debian's policy does not take in a package's name becomes a dash, and letters
 * small (deb-control(5) of dpkg; Debian Policy Manual, sections 5.6.1 and 5.6.12).
 */
export function debianPackage(arch: Architecture, config: string, kernelRelease: string): DebianPackage {
  const name = `linux-image-${kernelRelease.toLowerCase().replaceAll(/[^a-z0-9.+-]/gu, '-')}`;
  const version = `${kernelRelease.replaceAll(/[^A-Za-z0-9.+~-]/gu, '.')}-1`;
  const architecture = debianArchitecture(arch, optionOn(config));
  return { name, version, architecture, file: `${name}_${version}_${architecture}.deb` };
}

/**
 * What modules of this configuration will say they are for.
 *
 * @returns nothing where there are none, or no rule is known
 */
export function moduleVermagic(
  arch: Architecture,
  config: string,
  kernelRelease: string,
): Vermagic | undefined {
  return hasModules(config) ? vermagic(arch, kernelRelease, optionOn(config)) : undefined;
}

/** Whether a file is called as such a package is. */
export function isDebianPackage(file: string): boolean {
  return /^linux-image-[a-z0-9.+-]+_[A-Za-z0-9.+~-]+_[a-z0-9]+\.deb$/u.test(file);
}

export function hasModules(config: string): boolean {
  return optionOn(config)('MODULES');
}

function optionOn(config: string): OptionOn {
  const lines = new Set(config.split('\n'));
  return (option) => lines.has(`CONFIG_${option}=y`);
}

/** The build compiles debug information into what it compiles. */
export function hasDebugInformation(config: string): boolean {
  return optionOn(config)('DEBUG_INFO');
}

/** The tree has device trees for the machines of the architecture, and the kernel takes one. */
export function hasDeviceTrees(arch: Architecture, config: string): boolean {
  return architectureFacts(arch).deviceTrees === true && optionOn(config)('OF_EARLY_FLATTREE');
}
