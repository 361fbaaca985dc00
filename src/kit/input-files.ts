import type { Inputs, LayerPin, PackagePin, SourceInputs, SourcePin } from '../spec/lock.ts';
import { commitFolder, tarName } from '../spec/source-text.ts';

/** One file that the kit needs in its inputs folder. */
export interface InputFile {
  /**
   * `base` packages are unpacked by hand so that dpkg can run; dpkg installs these and every `package`. A `layer` is of the
   * image that the environment begins with.
   */
  readonly kind: 'source' | 'layer' | 'base' | 'package';
  readonly sha256: string;
  /** Bytes. */
  readonly size: number;
  /** Name in the inputs folder. */
  readonly file: string;
  /**
   * Where to fetch it from, in order; none for what came from the disk of the spec's author, and for layers: registries
   * hand these out only to those who have a token.
   */
  readonly urls: readonly string[];
  /** SHA-256 of the tar inside, which is what counts where it is given: the file may be compressed otherwise. */
  readonly tar?: string;
}

/** Every file that a kit needs: the source first, then the image's layers and the packages in the lock's order. */
export function inputFiles(inputs: Inputs): readonly InputFile[] {
  return [
    sourceFile(inputs),
    ...(inputs.image?.layers ?? []).map(layerFile),
    ...inputs.packages.map((pin) => packageFile(inputs, pin)),
  ];
}

export function sourceFile(inputs: SourceInputs): InputFile {
  const { source } = inputs;
  const { sha256, size } = source;
  const file = { kind: 'source', sha256, size, file: sourceName(source) } as const;
  switch (source.kind) {
    case 'debian':
      return { ...file, urls: archiveUrls(inputs, source.origin, source.path) };
    case 'tarball':
    case 'tree':
    case 'git':
      return { ...file, urls: [] };
    case 'release':
    case 'url':
      return { ...file, urls: source.urls, tar: source.tar.sha256 };
  }
}

function sourceName(source: SourcePin): string {
  switch (source.kind) {
    case 'debian':
      return baseName(source.path);
    case 'tarball':
    case 'tree':
      // tar finds the compression out by itself
      return `source-${source.sha256.slice(0, 16)}.tar`;
    case 'git':
      return `${commitFolder(source)}.tar`;
    case 'release':
    case 'url':
      return tarName(source.urls);
  }
}

const suffixes: Readonly<Record<LayerPin['compression'], string>> = {
  none: 'tar',
  gzip: 'tar.gz',
  zstd: 'tar.zst',
};

/** Numbered, since an image may have one layer several times. */
function layerFile({ sha256, size, compression }: LayerPin, place: number): InputFile {
  const nth = String(place + 1).padStart(3, '0');
  const file = `layer-${nth}-${sha256.slice(0, 16)}.${suffixes[compression]}`;
  return { kind: 'layer', sha256, size, file, urls: [] };
}

function packageFile(inputs: Inputs, pin: PackagePin): InputFile {
  return {
    kind: pin.essential ? 'base' : 'package',
    sha256: pin.sha256,
    size: pin.size,
    file: baseName(pin.path),
    urls: archiveUrls(inputs, pin.origin, pin.path),
  };
}

/** Where a file of an archive is to be had: the archive, then the dated copy of it. */
export function archiveUrls(inputs: Pick<Inputs, 'origins'>, name: string, path: string): readonly string[] {
  const origin = inputs.origins[name];
  if (origin === undefined) throw new Error(`the lock names no origin ${name}`);
  // some servers read a plus sign in a path as a blank
  const encoded = path.split('/').map(encodeURIComponent).join('/');
  return [origin.url, ...(origin.snapshot === undefined ? [] : [origin.snapshot])].map(
    (url) => `${url}/${encoded}`,
  );
}

function baseName(path: string): string {
  return path.slice(path.lastIndexOf('/') + 1);
}
