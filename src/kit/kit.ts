import type { Answers, GitPin, ImagePin, Inputs } from '../spec/lock.ts';
import { commitFolder } from '../spec/source-text.ts';
import type { OutputKind, Spec } from '../spec/spec.ts';
import { sourceFolder } from '../environment/architectures.ts';
import { makeWords, objcopyProgram } from '../environment/toolchain.ts';
import { buildTimestamp } from '../image/version-string.ts';
import {
  artefactFiles,
  artefactNames,
  debianPackage,
  hasModules,
  imageFile,
  moduleVermagic,
} from './artefacts.ts';
import { encodeLatin1 } from '../kconfig/latin1.ts';
import { archiveUmask, plainAttributes } from './commit-archive.ts';
import { diskKilobytes } from './estimate.ts';
import { type InputFile, inputFiles, sourceFile } from './input-files.ts';
import { layOutPatches, type CarriedFile, type KitPatches } from './patches.ts';
import { renderTemplate, type Templates } from './templates.ts';

/** Path in the folder to content. */
export type Files = ReadonlyMap<string, Uint8Array>;

/** What of the outputs has to do with modules. */
const moduleOutputs: ReadonlySet<OutputKind> = new Set(['modules', 'extmod-build', 'debug', 'deb']);

const encode = (text: string): Uint8Array => new TextEncoder().encode(text);

/**
 * The kit that builds the kernel: the same spec, lock and configuration give the same bytes.
 *
 * @param config the resolved `.config`, whose digest the lock holds
 * @param patches as the dry run came to them
 */
export function renderKit(
  spec: Spec,
  lock: { readonly inputs: Inputs; readonly answers: Answers },
  config: Uint8Array,
  patches: KitPatches,
  templates: Templates,
): Files {
  const { inputs, answers } = lock;
  const { files: patchFiles, steps } = layOutPatches(patches);
  const inside: readonly CarriedFile[] = [
    { file: 'kernel.config', sha256: answers.config, content: config },
    ...patchFiles,
  ];
  const text = new TextDecoder('latin1').decode(config);
  const { kernelRelease } = answers;
  const artefacts = artefactNames(spec, text, kernelRelease);
  const leaves = (file: string): boolean => artefacts.includes(file);
  const image = imageFile(spec.arch, text);
  const packed = spec.outputs.includes('deb') ? debianPackage(spec.arch, text, kernelRelease) : undefined;
  const compiled = hasModules(text) && spec.outputs.some((kind) => moduleOutputs.has(kind));
  const script = renderTemplate(templates, 'build.sh', {
    ...treeView(spec, inputs, inside),
    steps,
    left: patches.left,
    leftFiles: patches.left.filter(({ sha256 }) => sha256 !== undefined),
    diskKilobytes: diskKilobytes(text),
    timestamp: buildTimestamp(answers.epoch),
    user: spec.build.user,
    host: spec.build.host,
    epoch: answers.epoch,
    toolchain: Object.entries(answers.toolchain).map(([program, version]) => ({ program, version })),
    kernelRelease,
    bannerStart: `Linux version ${kernelRelease} (${spec.build.user}@${spec.build.host}) (`,
    bannerEnd: `) ${answers.versionString}`,
    targets: [
      image.name,
      ...(compiled ? ['modules'] : []),
      ...(leaves(artefactFiles.deviceTrees) ? ['dtbs'] : []),
    ],
    imagePath: image.path,
    srcarch: sourceFolder(spec.arch),
    objcopy: objcopyProgram(spec),
    vermagic: compiled ? moduleVermagic(spec.arch, text, kernelRelease) : undefined,
    vmlinux: leaves(artefactFiles.vmlinux),
    install: compiled && (leaves(artefactFiles.modules) || packed !== undefined),
    modules: leaves(artefactFiles.modules),
    deviceTrees: leaves(artefactFiles.deviceTrees),
    headers: leaves(artefactFiles.headers),
    moduleBuild: leaves(artefactFiles.moduleBuild),
    debug: leaves(artefactFiles.debug),
    package: packed && {
      ...packed,
      maintainer: `${spec.build.user} <${spec.build.user}@${spec.build.host}>`,
    },
    artefacts,
  });
  const byName = (table: Readonly<Record<string, string>>): (readonly [string, string])[] =>
    Object.entries(table).sort(([one], [other]) => (one < other ? -1 : 1));
  const probes = renderTemplate(templates, 'check-probes.sh', {
    variables: byName(answers.variables).map(([name, value]) => ({ name, value })),
    probes: byName(answers.probes).map(([command, answer]) => ({ command, answer })),
  });
  const readme = renderTemplate(templates, 'README.md', {
    name: spec.name,
    kernelRelease,
    arch: spec.arch,
    tar: sourceFile(inputs).tar ?? '',
    base: inputs.image !== undefined,
  });
  const carried = [{ file: 'check-probes.sh' }, ...inside];
  const files = inputFiles(inputs);
  return new Map([
    ...runnableFolder({ name: spec.name, inputs, files, inside: carried, script, templates }),
    ...inside.map(({ file, content }) => [file, content] as const),
    // its words are bytes, one per character
    ['check-probes.sh', encodeLatin1(probes)],
    ['README.md', encode(readme)],
  ]);
}

/** What every folder has that `run.sh` runs, whatever its script does. */
export function runnableFolder(parts: {
  readonly name: string;
  readonly inputs: Inputs;
  /** What `run.sh` finds in the inputs folder. */
  readonly files: readonly InputFile[];
  /** Files of the folder that are copied into the container beside the script. */
  readonly inside: readonly { readonly file: string }[];
  readonly script: string;
  readonly templates: Templates;
}): Files {
  const { name, inputs, files, inside, script, templates } = parts;
  const base = inputs.image && baseView(inputs.image, files);
  return new Map([
    ['Containerfile', encode(renderTemplate(templates, 'Containerfile', { base }))],
    ['environment.sh', encode(renderTemplate(templates, 'environment.sh', { base }))],
    [
      'run.sh',
      encode(
        renderTemplate(templates, 'run.sh', {
          name,
          architecture: packageArchitecture(inputs),
          base,
          inputs: files,
          tar: files.find(({ kind }) => kind === 'source')?.tar ?? '',
          commit: inputs.source.kind === 'git' ? commitView(inputs.source) : undefined,
          inside: ['build.sh', ...inside.map(({ file }) => file)],
        }),
      ),
    ],
    ['build.sh', encode(script)],
    ['inputs.sha256', encode(checksumLines(files))],
  ]);
}

/** How a source that is a commit is made. */
function commitView(pin: GitPin): object {
  const { url, commit, tag } = pin;
  return {
    url,
    names: [commit, ...(tag === undefined ? [] : [`refs/tags/${tag}`])],
    attributes: plainAttributes,
    umask: archiveUmask,
    folder: commitFolder(pin),
    commit,
  };
}

/** The architecture that the environment's programs run on, as Debian calls it; `all` when no package has one. */
function packageArchitecture({ image, packages }: Inputs): string {
  return (
    image?.architecture ?? packages.find(({ architecture }) => architecture !== 'all')?.architecture ?? 'all'
  );
}

/**
 * The image that the environment begins with, in the form that every engine loads: an archive with its layers, and two
 * texts about them. Nothing but the layers is taken over: what else an image says (a command, a user, folders to mount) is
 * for whoever runs it.
 */
function baseView(image: ImagePin, files: readonly InputFile[]): object {
  const name = `quern-base:${image.manifest.slice(0, 24)}`;
  const layers = files.filter(({ kind }) => kind === 'layer').map(({ file }) => file);
  const rootfs = { type: 'layers', diff_ids: image.layers.map(({ unpacked }) => `sha256:${unpacked}`) };
  const { architecture } = image;
  return {
    name,
    reference: `${image.registry}/${image.repository}@sha256:${image.manifest}`,
    config: JSON.stringify({ architecture, os: 'linux', config: {}, rootfs }),
    manifest: JSON.stringify([
      {
        Config: 'config.json',
        RepoTags: [name],
        Layers: layers.map((file) => file.replace(/\.tar\..*$/, '.tar')),
      },
    ]),
  };
}

/** How make is told for what it builds and with what, word by word. */
function makeVariables(spec: Spec): readonly { readonly name: string; readonly value: string }[] {
  const { arch, crossCompile, llvm } = makeWords(spec);
  return [
    { name: 'ARCH', value: arch },
    ...(crossCompile === undefined ? [] : [{ name: 'CROSS_COMPILE', value: crossCompile }]),
    ...(llvm ? ['LLVM', 'LLVM_IAS'].map((name) => ({ name, value: '1' })) : []),
    { name: 'LOCALVERSION', value: spec.localversion },
  ];
}

/** What unpacking and patching need, in the container. */
function treeView(spec: Spec, inputs: Inputs, inside: readonly CarriedFile[]): object {
  const source = sourceFile(inputs);
  return {
    makeWords: makeVariables(spec),
    // of a source that was fetched the tar inside counts, which is compared when it is unpacked
    checked: [...inside, ...(source.tar === undefined ? [source] : [])].map(({ file, sha256 }) => ({
      file: `./${file}`,
      sha256,
    })),
    source: {
      file: source.file,
      tar: source.tar ?? '',
      // Debian's source packages hold the tarball under its own name
      member: inputs.source.kind === 'debian' ? `./usr/src/${inputs.source.package}.tar.xz` : '',
    },
  };
}

function checksumLines(files: readonly InputFile[]): string {
  return files.map(({ sha256, file }) => `${sha256}  ${file}\n`).join('');
}
