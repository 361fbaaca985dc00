export interface Flag {
  /** One letter, for `-o`. */
  readonly short?: string;
  /** What its value is called in the help text; a flag without one is on or off. */
  readonly value?: string;
  /** It may stand there more than once, and every value counts. */
  readonly many?: true;
}

/** Long names to flags. */
export type Flags = Readonly<Record<string, Flag>>;

/** What every command understands. */
export const commonFlags: Flags = {
  json: {},
  debug: {},
  help: { short: 'h' },
};
