/** The files of a kernel tree, or of the part of it that matters here. */
export interface TreeFiles {
  /**
   * @param path relative to the root of the tree
   * @returns the text in latin1; `undefined` when there is no such file
   */
  read(path: string): string | undefined;
}

/** A tree that can be searched. */
export interface ListedFiles extends TreeFiles {
  /** Names of what is right below a folder (`''`: the root), in any order; none when there is no such folder. */
  list(folder: string): readonly string[];
  /** Paths of all files of the tree that matter for a configuration, the Kconfig files at least. */
  paths(): Iterable<string>;
}
