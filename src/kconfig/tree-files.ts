/** The files of a kernel tree, or of the part of it that matters here. */
export interface TreeFiles {
  /**
   * @param path relative to the root of the tree
   * @returns the text in latin1; `undefined` when there is no such file
   */
  read(path: string): string | undefined;
}
