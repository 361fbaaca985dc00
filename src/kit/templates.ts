import { fillTemplate, type Quoting } from '../report/fill-template.ts';
import { quoteMarkdown } from '../report/markdown.ts';
import { plainLine, plainWord, shellWord } from './quote.ts';

/** Template name (`run.sh`, `tree`) to its Handlebars source. */
export type Templates = ReadonlyMap<string, string>;

const quoting: Quoting = { sh: shellWord, word: plainWord, line: plainLine, md: quoteMarkdown };

/** Templates that others include. */
const partials = ['ask', 'engine', 'tree', 'patches'];

/** Fills one template of the kit in. */
export function renderTemplate(templates: Templates, name: string, view: object): string {
  const included = new Map(partials.map((partial) => [partial, sourceOf(templates, partial)]));
  return fillTemplate(sourceOf(templates, name), view, quoting, included);
}

function sourceOf(templates: Templates, name: string): string {
  const source = templates.get(name);
  if (source === undefined) throw new Error(`no template ${name}`);
  return source;
}
