/** Answers to the questions that a tree's Kconfig asks of its environment: what each `$(shell …)` prints. */
export interface Probes {
  /**
   * @param command the command line as the Kconfig files put it together
   * @returns what it prints on standard output, in latin1; `undefined` when that is not known
   */
  answer(command: string): string | undefined;
}

/** The program reads no more of what a command prints (do_shell in scripts/kconfig/preprocess.c). */
const longestAnswer = 4095;

/** What `$(shell …)` expands to: without line feeds at the end, those inside become blanks. */
export function expansionOf(output: string): string {
  return output.slice(0, longestAnswer).replace(/\n+$/, '').replaceAll('\n', ' ');
}
