import type { z } from 'zod';
import type { Diagnostic, Span } from '../diagnostics/diagnostic.ts';
import { nearest } from '../diagnostics/nearest.ts';
import { quoted } from '../diagnostics/printable.ts';
import { inYaml, meantValue, pathFault, respelled, samples } from './advice.ts';
import { specCodes } from './codes.ts';
import { filePath, folderPath, patchPath } from './grammar.ts';
import { pathText } from './path-text.ts';
import { specSchema } from './schema.ts';
import { outlineOf } from './spec-outline.ts';
import { nodeAt, scalarValue, type Range, type YamlNode, type YamlPath } from './yaml-tree.ts';

const outline = outlineOf(specSchema);

interface Context {
  readonly file: string;
  readonly root: YamlNode;
  readonly path: YamlPath;
  /** The path in words. */
  readonly place: string;
}

function spanOf(file: string, { start, end }: Range): Span {
  return { file, start, end };
}

function kindOf(node: YamlNode): string {
  if (node.kind === 'mapping') return 'a mapping';
  if (node.kind === 'sequence') return 'a list';
  const value = scalarValue(node);
  if (value === null) return 'empty';
  return typeof value === 'string' ? 'text' : typeof value === 'number' ? 'a number' : 'a truth value';
}

const kinds: Readonly<Record<string, string>> = {
  string: 'text',
  int: 'a whole number',
  number: 'a whole number',
  array: 'a list',
  object: 'a mapping of keys to values',
  record: 'a mapping of keys to values',
};

/** How a node is quoted in a message: scalars as they were written. */
function written(node: YamlNode): string {
  if (node.kind === 'scalar') return node.raw === '' ? 'empty' : quoted(node.raw);
  return node.kind === 'mapping' ? 'this mapping' : 'this list';
}

function missing({ file, root, path, place }: Context): Diagnostic {
  const parent = nodeAt(root, path.slice(0, -1));
  const first = root.kind === 'mapping' ? root.entries.values().next().value?.key : undefined;
  const { description } = outline(path);
  const sample = place.replace(/\[\d+\]/g, '[]');
  return specCodes.report('spec/missing-key', {
    message: `\`${place}\` is missing`,
    // an item of a list has no key of its own
    span: spanOf(file, parent?.key ?? (path.length > 1 ? parent?.node : first) ?? root),
    notes: description === undefined ? [] : [description],
    help: Object.hasOwn(samples, sample) ? `add \`${samples[sample]}\`` : undefined,
  });
}

function needsQuotes({ file, place }: Context, node: YamlNode & { kind: 'scalar' }): Diagnostic {
  const value = scalarValue(node);
  const meaning =
    value === null ? 'nothing' : `the ${typeof value === 'number' ? 'number' : 'truth value'} ${value}`;
  return specCodes.report('spec/needs-quotes', {
    message: `\`${place}\` must stand in quotes: ${quoted(node.raw)}`,
    span: spanOf(file, node),
    notes: [`it is a text, and without quotes YAML reads ${quoted(node.raw)} as ${meaning}`],
    help: `write ${quoted(respelled(place, node.raw) ?? inYaml(node.raw))}`,
  });
}

/** The same value as the kind that is expected. */
function retyped(node: YamlNode, expected: string): string | undefined {
  if (node.kind !== 'scalar') return undefined;
  if (expected === 'array') return `write ${quoted(`[${node.raw}]`)}`;
  return /^(?:int|number)$/.test(expected) && /^\d+$/.test(node.text)
    ? `write \`${node.text}\` without quotes`
    : undefined;
}

function wrongType(context: Context, expected: string): Diagnostic {
  const { file, root, path, place } = context;
  const found = nodeAt(root, path);
  if (!found) return missing(context);
  const { node, key } = found;
  const value = node.kind === 'scalar' ? scalarValue(node) : undefined;
  if (node.kind === 'scalar' && value === null && node.raw === '') {
    const { description } = outline(path);
    return specCodes.report('spec/wrong-type', {
      message: `\`${place}\` has no value`,
      span: spanOf(file, key ?? node),
      notes: description === undefined ? [] : [description],
      help: Object.hasOwn(samples, place)
        ? `write \`${samples[place]}\``
        : 'write a value, or take the key out',
    });
  }
  if (expected === 'string' && node.kind === 'scalar') return needsQuotes(context, node);
  const kind = Object.hasOwn(kinds, expected) ? kinds[expected] : expected;
  return specCodes.report('spec/wrong-type', {
    message: `\`${place}\` must be ${kind}, ${node.kind === 'scalar' ? `and ${written(node)} is` : 'not'} ${kindOf(node)}`,
    span: spanOf(file, node.kind === 'scalar' ? node : (key ?? node)),
    notes: [outline(path).description].filter((note) => note !== undefined),
    help: retyped(node, expected) ?? `write ${kind}`,
  });
}

function unknownKeys({ file, root, path, place }: Context, keys: readonly string[]): Diagnostic[] {
  const known = outline(path).keys;
  const mapping = nodeAt(root, path)?.node;
  return keys.map((key) => {
    const guess = nearest(key, known);
    const entry = mapping?.kind === 'mapping' ? mapping.entries.get(key) : undefined;
    if (known.includes(key)) {
      // one of several kinds of mapping, each with keys of its own
      return specCodes.report('spec/unknown-key', {
        message: `${quoted(key)} does not go together with the other keys of \`${place}\``,
        span: spanOf(file, entry?.key ?? root),
        notes: [outline(path).description].filter((note) => note !== undefined),
        help: 'keep one of them',
      });
    }
    return specCodes.report('spec/unknown-key', {
      message: `there is no key ${quoted(key)} in ${path.length === 0 ? place : `\`${place}\``}`,
      span: spanOf(file, entry?.key ?? root),
      notes: [`the keys here are ${known.join(', ')}`],
      help:
        guess === undefined ? 'take it out, or use one of the keys there are' : `did you mean \`${guess}\`?`,
    });
  });
}

function badChoice({ file, root, path, place }: Context, values: readonly unknown[]): Diagnostic {
  const found = nodeAt(root, path);
  const names = values.map(String);
  const text = found?.node.kind === 'scalar' ? found.node.text : '';
  const guess = names.includes(text) ? text : meantValue(place.replace(/\[\d+\]$/, ''), text, names);
  return specCodes.report('spec/bad-value', {
    message: `\`${place}\` cannot be ${found ? written(found.node) : 'absent'}`,
    span: spanOf(file, found?.node ?? root),
    notes: [`possible here: ${names.join(', ')}`],
    help:
      guess === undefined
        ? `write ${names.length === 1 ? `\`${names[0]}\`` : 'one of these'}`
        : names.includes(text)
          ? `write \`${text}\` without quotes`
          : `did you mean \`${guess}\`?`,
  });
}

const pathPatterns = new Set([filePath, folderPath, patchPath].map(({ pattern }) => String(pattern)));

function badFormat({ file, root, path, place }: Context, pattern: string, rule: string): Diagnostic {
  const node = nodeAt(root, path)?.node;
  const text = node?.kind === 'scalar' ? node.text : '';
  const isPath = pathPatterns.has(pattern) || (place === 'config.base' && /[./\\]/.test(text));
  const fault = isPath ? pathFault(text) : undefined;
  const instead = isPath ? undefined : respelled(place, text);
  return specCodes.report('spec/bad-value', {
    message: `\`${place}\` cannot be ${node ? written(node) : 'absent'}${fault === undefined ? '' : `: ${fault}`}`,
    span: spanOf(file, node ?? root),
    notes: [rule],
    help:
      instead !== undefined
        ? `did you mean \`${instead}\`?`
        : isPath
          ? "put the file below the spec's folder and write its path from there"
          : 'write it so that it fits this rule',
  });
}

function badValue({ file, root, path, place }: Context, why: string): Diagnostic {
  const found = nodeAt(root, path);
  const node = found?.node ?? root;
  return specCodes.report('spec/bad-value', {
    message: `\`${place}\` cannot be ${written(node)}: ${why}`,
    span: spanOf(file, node.kind === 'scalar' ? node : (found?.key ?? node)),
    notes: [outline(path).description].filter((note) => note !== undefined),
    help: 'change the value, or take the key out where it may be absent',
  });
}

/**
 * Turns what zod found wrong with a spec into what a person needs: the place, the offending text, the rule, and the
 * nearest thing that would be right.
 *
 * @param issue one issue of `specSchema`
 * @param root the tree that was checked
 */
export function explainIssue(issue: z.core.$ZodIssue, root: YamlNode, file: string): Diagnostic[] {
  const path = issue.path.map((step) => (typeof step === 'number' ? step : String(step)));
  const context: Context = { file, root, path, place: pathText(path, 'the spec') };
  switch (issue.code) {
    case 'unrecognized_keys':
      return unknownKeys(context, issue.keys);
    case 'invalid_type':
      return [wrongType(context, issue.expected)];
    case 'invalid_value':
      return [nodeAt(root, path) ? badChoice(context, issue.values) : missing(context)];
    case 'invalid_format':
      return [badFormat(context, issue.pattern ?? '', issue.message)];
    case 'invalid_union':
      return explainForm(issue, root, file) ?? [badValue(context, issue.message)];
    default:
      return [badValue(context, issue.message)];
  }
}

/** The keys by which a mapping is known, in the order of the schema's forms, where a word may stand as well. */
const mappings: Readonly<Record<string, readonly string[]>> = {
  patches: ['path', 'series'],
  'config.base': ['debian', 'running'],
  'config.fragments': ['tree'],
};

/** Where a word may stand, or one of several mappings: what is wrong with the one that it looks like. */
function explainForm(
  { path, errors }: z.core.$ZodIssueInvalidUnion,
  root: YamlNode,
  file: string,
): Diagnostic[] | undefined {
  const place = path.filter((step) => typeof step !== 'symbol');
  const keys = mappings[place.filter((step) => typeof step === 'string').join('.')];
  if (keys === undefined) return undefined;
  const node = nodeAt(root, place)?.node;
  const known = node?.kind === 'mapping' ? keys.findIndex((key) => node.entries.has(key)) : -1;
  const meant = errors[node?.kind !== 'mapping' ? 0 : Math.max(0, known) + 1] ?? [];
  return meant.flatMap((issue) => explainIssue({ ...issue, path: [...path, ...issue.path] }, root, file));
}
