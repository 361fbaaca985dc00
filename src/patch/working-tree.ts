export interface PatchedFile {
  /** In latin1. */
  readonly text: string;
  readonly executable: boolean;
}

export type PatchedFiles = ReadonlyMap<string, PatchedFile>;

/** What is known of a tree beside the content of its files. */
export interface TreeNames {
  /** Every file of the tree; nothing where that is not known. */
  readonly paths?: ReadonlySet<string>;
  /** Of the files asked for, those that are symbolic links. */
  readonly links?: ReadonlySet<string>;
}

/** The files of a tree that patches are applied to, one after the other. */
export class WorkingTree {
  readonly names: TreeNames;
  /** What the patches have left so far; nothing for a file that is gone. */
  readonly changed: Map<string, PatchedFile | undefined> = new Map();
  readonly #files: PatchedFiles;
  readonly #matters: (path: string) => boolean;
  readonly #goneBy = new Map<string, string>();

  /** @param matters whether a file of this path is among `files` when the tree has it: what happens to others is passed over */
  constructor(files: PatchedFiles, matters: (path: string) => boolean = () => true, names: TreeNames = {}) {
    this.#files = files;
    this.#matters = matters;
    this.names = names;
  }

  read(path: string): PatchedFile | undefined {
    return this.changed.has(path) ? this.changed.get(path) : this.#files.get(path);
  }

  has(path: string): boolean {
    return this.read(path) !== undefined;
  }

  covers(path: string): boolean {
    return this.#files.has(path) || this.#matters(path);
  }

  write(path: string, file: PatchedFile): void {
    if (this.covers(path)) this.changed.set(path, file);
  }

  /** @param by the patch that does it */
  remove(path: string, by: string): void {
    this.changed.set(path, undefined);
    this.#goneBy.set(path, by);
  }

  /** The patch that has removed or renamed this file. */
  goneBy(path: string): string | undefined {
    return this.#goneBy.get(path);
  }

  /** All files as they are now. */
  files(): PatchedFiles {
    const files = new Map(this.#files);
    for (const [path, file] of this.changed) {
      if (file) files.set(path, file);
      else files.delete(path);
    }
    return files;
  }

  /** Names of files that might have been meant: all that is known, with what the patches have made. */
  *candidates(): Generator<string> {
    for (const path of this.names.paths ?? this.#files.keys()) if (!this.#goneBy.has(path)) yield path;
    for (const [path, file] of this.changed) if (file) yield path;
  }

  /** Whether the tree has a file of this name, its content known or not. */
  hasName(path: string): boolean {
    return this.has(path) || (!this.changed.has(path) && this.names.paths?.has(path) === true);
  }
}
