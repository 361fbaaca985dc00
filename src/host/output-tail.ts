/** Keeps the end of a text that may be longer than is good for the memory. */
export interface OutputTail {
  push(piece: string): void;
  text(): string;
  /** The beginning is missing. */
  truncated(): boolean;
}

/** @param limit how much is kept, in UTF-16 code units; up to twice that is held on the way */
export function outputTail(limit: number): OutputTail {
  let kept = '';
  let cut = false;
  const trim = (): void => {
    cut ||= kept.length > limit;
    if (kept.length > limit) kept = limit === 0 ? '' : kept.slice(-limit);
  };
  return {
    push: (piece) => {
      kept += piece;
      if (kept.length > 2 * limit) trim();
    },
    text: () => {
      trim();
      return kept;
    },
    truncated: () => cut || kept.length > limit,
  };
}
