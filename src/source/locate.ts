/** Where a path that the spec names really is, absolute; rejects when it may not be read. */
export type Locate = (path: string, kind: 'file' | 'folder') => Promise<string>;
