/** Where long work tells how far it is. `terminal.ts` draws a bar or prints plain lines; tests collect. */
export interface Progress {
  /** A new stage of the work begins: "fetching packages", "compiling". Ends the previous one. */
  stage(name: string): void;
  /** How far the stage is; `total` when it is known. */
  advance(done: number, total: number | undefined, unit: 'bytes' | 'files'): void;
  /** A line that stays on the screen. */
  line(text: string): void;
  /** No more progress: leaves the cursor on a line of its own. */
  end(): void;
}

const nothing = (): void => undefined;

/** Tells nobody. */
export const noProgress: Progress = { stage: nothing, advance: nothing, line: nothing, end: nothing };
