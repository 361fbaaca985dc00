import Handlebars from 'handlebars';

/** Name of a helper to the function that quotes a value for its place. */
export type Quoting = Readonly<Record<string, (value: string) => string>>;

/**
 * Fills a Handlebars template in. A name that the view lacks is an error, never an empty string, and nothing is escaped
 * behind our back: each value goes through the helper for its place, and there is no other way to print one.
 *
 * @param source the template; `partials` are those that it includes, by name
 * @throws Error when the template prints what the view does not have, or what its place cannot hold
 */
export function fillTemplate(
  source: string,
  view: object,
  quoting: Quoting,
  partials: ReadonlyMap<string, string> = new Map(),
): string {
  const engine = Handlebars.create();
  for (const [helper, quote] of Object.entries(quoting)) {
    // `strict` does not look at what a helper is given: a name that the view lacks arrives here as undefined
    engine.registerHelper(helper, (value: unknown) => quote(printed(value, helper)));
  }
  for (const [name, partial] of partials) engine.registerPartial(name, partial);
  const render = engine.compile<object>(source, {
    strict: true,
    noEscape: true,
    knownHelpersOnly: true,
    knownHelpers: Object.fromEntries(Object.keys(quoting).map((helper) => [helper, true])),
  });
  return render(view);
}

function printed(value: unknown, helper: string): string {
  if (typeof value === 'string') return value;
  if (typeof value === 'number') return String(value);
  throw new Error(`a template hands ${helper} a value that is not there`);
}
