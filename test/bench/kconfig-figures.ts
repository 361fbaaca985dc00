/** What the bench of the engine hands to the process that it measures. */
export interface ProbeRecording {
  readonly environment: Readonly<Record<string, string>>;
  /** What each command printed, in latin1. */
  readonly answers: Readonly<Record<string, string>>;
}

/** What that process says of itself: milliseconds, and megabytes of memory at most. */
export interface OnceFigures {
  readonly reading: number;
  readonly parsing: number;
  /** Reading the `.config`, working out all values, and putting the text together. */
  readonly evaluating: number;
  readonly writing: number;
  readonly peakMemory: number;
}
