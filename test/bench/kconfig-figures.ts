/** What the bench of the engine hands to the process that it measures. */
export interface TreeRecording {
  readonly arch: string;
  /** SHA-256 of the tree's encoded pack. */
  readonly pack: string;
  /** Command and what it printed, in latin1; `srctree` is `.`. */
  readonly answers: readonly (readonly [string, string])[];
}

/** What that process says of itself: milliseconds, and megabytes of memory at most. */
export interface OnceFigures {
  /** Reading files of the tree. */
  readonly reading: number;
  /** Making a model of them, or restoring one. */
  readonly parsing: number;
  /** Reading the `.config`, working out all values, and putting the text together. */
  readonly evaluating: number;
  readonly writing: number;
  readonly peakMemory: number;
}
