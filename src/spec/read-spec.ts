import type { Diagnostic, Span } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Architecture } from '../environment/architectures.ts';
import { specCodes, type SpecCode } from './codes.ts';
import { explainIssue } from './explain-issue.ts';
import { baseTarget, kernelVersion } from './grammar.ts';
import { architectureNamed } from './machine-names.ts';
import { readOnce, secondsOf, specSchema } from './schema.ts';
import { readSetOptions } from './set-options.ts';
import type { PatchItem, SpecDocument } from './spec-document.ts';
import {
  outputKinds,
  type SetOption,
  type Signers,
  type Spec,
  type SpecBase,
  type SpecFragment,
  type SpecPatch,
  type SpecSource,
  type UrlSource,
} from './spec.ts';
import {
  nodeAt,
  plainValue,
  readYamlTree,
  type Range,
  type YamlNode,
  type YamlPath,
  type YamlProblem,
} from './yaml-tree.ts';

/** In UTF-16 code units. A spec with every option of a kernel set by hand is not half as large. */
const largest = 1024 * 1024;

/** More errors than this help nobody; a hostile text could have hundreds of thousands. */
const mostErrors = 100;

export interface SpecReading {
  /** Absent when there is an error among the diagnostics. */
  readonly value: Spec | undefined;
  /** In the order of the text. */
  readonly diagnostics: readonly Diagnostic[];
  /** Where in the text a value stands: `place(['config', 'set', 'CRC7'])`. Defaults stand nowhere. */
  readonly place: (path: YamlPath) => Span | undefined;
}

type Report = (
  code: SpecCode,
  range: Range,
  message: string,
  notes: readonly string[],
  help: string,
) => Diagnostic;

function reporter(file: string): Report {
  return (code, { start, end }, message, notes, help) =>
    specCodes.report(code, { message, span: { file, start, end }, notes, help });
}

/** What can be said before the text is parsed at all. */
function checkText(text: string, report: Report): Diagnostic[] {
  if (text.length > largest) {
    const message = `the spec is ${text.length} characters long, and at most ${largest} are read`;
    return [report('spec/too-large', { start: 0, end: 0 }, message, [], 'is this the right file?')];
  }
  const odd = /[\0\ufffd]/.exec(text);
  if (!odd) return [];
  const message = `the spec is not UTF-8 text: it holds ${odd[0] === '\0' ? 'a NUL byte' : 'bytes that are no characters'}`;
  const range = { start: odd.index, end: odd.index + 1 };
  return [report('spec/not-text', range, message, [], 'save the file as UTF-8')];
}

const features = {
  alias: ['an alias', 'write the value out'],
  anchor: ['an anchor', 'take it out'],
  tag: ['a tag', 'take it out; put a text in quotes instead'],
  key: ['a key that is not a word', 'write a plain key'],
} as const;

function explainProblem(problem: YamlProblem, report: Report): Diagnostic {
  if (problem.kind === 'syntax') {
    const help = /tab/.test(problem.reason)
      ? 'indent with blanks instead of tabs'
      : 'look at this line and the one above it: indentation, quotes, brackets, colons';
    return report('spec/yaml', problem, `this is not YAML: ${problem.reason}`, [], help);
  }
  if (problem.kind === 'duplicate') {
    const message = `the key ${quoted(problem.key)} stands here a second time`;
    return report('spec/duplicate-key', problem, message, [], 'keep one of the two');
  }
  const [what, help] = features[problem.kind];
  return report('spec/yaml-feature', problem, `a spec has no place for ${what}`, [], help);
}

/** The one mapping a spec consists of, or why there is none. */
function findRoot(documents: readonly YamlNode[], report: Report): YamlNode | Diagnostic {
  const [root, second] = documents;
  const start = 'a spec begins with `quern: 1` and `name: …`';
  if (!root || (root.kind === 'scalar' && root.raw === '' && !second)) {
    return report('spec/empty', root ?? { start: 0, end: 0 }, 'the spec is empty', [], start);
  }
  if (second) {
    return report(
      'spec/documents',
      second,
      'a second document begins here',
      ['a file holds one spec'],
      'take it out',
    );
  }
  if (root.kind === 'mapping') return root;
  return report('spec/not-a-mapping', root, 'a spec is a mapping of keys to values', [], start);
}

/** Zod's complaints, without those that the tree can explain better or that follow from another one. */
function checkSchema(
  root: YamlNode,
  file: string,
): { document: SpecDocument | undefined; diagnostics: Diagnostic[] } {
  const { success, data, error } = specSchema.safeParse(plainValue(root), readOnce);
  if (success) return { document: data, diagnostics: [] };
  const unknown = new Set(
    error.issues.filter((issue) => issue.code === 'unrecognized_keys').map((issue) => issue.path.join('.')),
  );
  const issues = error.issues.filter(({ code, path }) => {
    const inSet = path[0] === 'config' && path[1] === 'set' && path.length > 2;
    return !inSet && !(code === 'custom' && unknown.has(path.join('.')));
  });
  return { document: undefined, diagnostics: issues.flatMap((issue) => explainIssue(issue, root, file)) };
}

/** `linux-source-6.1` can only hold a kernel 6.1. */
function checkSeries(root: YamlNode, report: Report): Diagnostic[] {
  const version = nodeAt(root, ['kernel', 'version'])?.node;
  const source = nodeAt(root, ['kernel', 'source', 'debian'])?.node;
  if (version?.kind !== 'scalar' || source?.kind !== 'scalar') return [];
  const wanted = /^(\d+\.\d+)(?=$|[.-])/.exec(version.text)?.[1];
  const held = /^linux-source-(\d+\.\d+)$/.exec(source.text)?.[1];
  if (wanted === undefined || held === undefined || wanted === held) return [];
  const message = `${quoted(source.text)} holds Linux ${held}, and \`kernel.version\` is ${quoted(version.text)}`;
  const help = `write \`linux-source-${wanted}\` here, or \`version: "${held}"\``;
  return [report('spec/version-mismatch', source, message, [], help)];
}

/** Only an exact version has a tarball; and release candidates have none that is signed. */
function checkRelease(root: YamlNode, report: Report): Diagnostic[] {
  const version = nodeAt(root, ['kernel', 'version'])?.node;
  const site = nodeAt(root, ['kernel', 'source', 'release'])?.node;
  if (version?.kind !== 'scalar' || site?.kind !== 'scalar' || !kernelVersion.pattern.test(version.text))
    return [];
  const { text } = version;
  const refuse = (why: string, help: string): Diagnostic[] => {
    const message = `\`kernel.version\` cannot be ${quoted(text)} with a release of ${quoted(site.text)}: ${why}`;
    return [report('spec/version-mismatch', version, message, [], help)];
  };
  if (text.includes('-rc')) {
    const help = 'take a release, or name the file itself as `url`, with a digest that you trust';
    return refuse('there is no signed tarball of a release candidate', help);
  }
  if (Number.parseInt(text, 10) < 3)
    return refuse('the oldest one here is 3.0', 'name the file itself as `url`');
  if (/^\d+\.\d+\.\d+$/.test(text)) return [];
  const help = `write the exact version, such as \`version: "${text}.1"\`; the first one of the series is "${text}.0"`;
  return refuse('that is a series, of which a release is one', help);
}

function sourceOf(source: SpecDocument['kernel']['source']): SpecSource {
  const { debian, tarball, tree, release, url, git } = source;
  if (debian !== undefined) return { kind: 'debian', package: debian };
  if (tarball !== undefined) return { kind: 'tarball', path: plainPath(tarball) };
  if (release !== undefined) {
    const { sums } = source;
    return {
      kind: 'release',
      site: release,
      ...signersOf(source),
      ...(sums !== undefined && { sums: sums.toUpperCase() }),
    };
  }
  if (url !== undefined) {
    const { sha256, signature } = source;
    return {
      kind: 'url',
      urls: typeof url === 'string' ? [url] : url,
      ...(sha256 !== undefined && { sha256 }),
      ...(signature !== undefined && { signature: signatureOf(signature) }),
      ...signersOf(source),
    };
  }
  if (git !== undefined) {
    const { tag, commit } = source;
    return {
      kind: 'git',
      url: git,
      ...(tag !== undefined && { tag }),
      ...(commit !== undefined && { commit }),
      ...signersOf(source),
    };
  }
  return { kind: 'tree', path: plainPath(tree ?? '') };
}

function signersOf({ signers = [], keyring, keys = [] }: SpecDocument['kernel']['source']): Signers {
  return {
    signers: signers.map((one) => one.toUpperCase()),
    ...(keyring !== undefined && { keyring: plainPath(keyring) }),
    keys,
  };
}

function signatureOf(signature: string): NonNullable<UrlSource['signature']> {
  return signature.startsWith('https://')
    ? { kind: 'url', url: signature }
    : { kind: 'file', path: plainPath(signature) };
}

function plainPath(path: string): string {
  return path.replace(/^\.\//, '').replace(/\/$/, '');
}

function baseOf(base: SpecDocument['config']['base']): SpecBase {
  if (typeof base === 'object') {
    if ('running' in base) return { kind: 'running', path: plainPath(base.running) };
    return { kind: 'debian', package: base.debian, config: base.config };
  }
  if (baseTarget.test(base)) return { kind: 'target', target: base };
  return { kind: 'file', path: plainPath(base) };
}

function fragmentOf(fragment: SpecDocument['config']['fragments'][number]): SpecFragment {
  return typeof fragment === 'string' ? plainPath(fragment) : { tree: fragment.tree };
}

function namedArchitecture(name: string): Architecture {
  const arch = architectureNamed(name);
  if (arch === undefined) throw new Error(`the schema lets ${name} through`);
  return arch;
}

/** Without what goes without saying, so that it is no difference to a lock whether it was said. */
function patchOf(item: PatchItem): SpecPatch {
  if (typeof item === 'string') return plainPath(item);
  const { strip = 1, fuzz = 0 } = item;
  const options = { ...(strip !== 1 && { strip }), ...(fuzz !== 0 && { fuzz }) };
  if ('series' in item) return { series: plainPath(item.series), ...options };
  const special = { ...options, ...(item.reverse === true && { reverse: true }) };
  return Object.keys(special).length === 0
    ? plainPath(item.path)
    : { path: plainPath(item.path), ...special };
}

function specOf(document: SpecDocument, set: readonly SetOption[]): Spec {
  const { name, kernel, arch, config, patches, environment, localversion, build, outputs } = document;
  const epoch = typeof build.epoch === 'string' ? secondsOf(build.epoch) : build.epoch;
  const { debian, image, snapshot, gcc, llvm } = environment;
  return {
    name,
    kernel: { version: kernel.version, source: sourceOf(kernel.source) },
    arch: namedArchitecture(arch),
    config: { base: baseOf(config.base), fragments: config.fragments.map(fragmentOf), set },
    patches: patches.map(patchOf),
    environment: {
      debian,
      ...(image !== undefined && { image }),
      ...(snapshot !== undefined && { snapshot }),
      ...(gcc !== undefined && { gcc }),
      ...(llvm !== undefined && { llvm }),
    },
    localversion,
    build: { user: build.user, host: build.host, ...(epoch !== undefined && { epoch }) },
    // In one order, however they were written, so that the order is no difference to a lock.
    outputs: outputKinds.filter((kind) => outputs.includes(kind)),
  };
}

function inOrder(diagnostics: readonly Diagnostic[]): Diagnostic[] {
  const sorted = [...diagnostics].sort((one, other) => (one.span?.start ?? 0) - (other.span?.start ?? 0));
  if (sorted.length <= mostErrors) return sorted;
  const message = `and ${sorted.length - mostErrors} more`;
  return [...sorted.slice(0, mostErrors), specCodes.report('spec/more-errors', { message })];
}

/**
 * Reads a spec. Never throws; every error of the text comes in one go, each with its place.
 *
 * @param text the whole file, decoded as UTF-8
 * @param file its name, for the places in diagnostics
 */
export function readSpec(text: string, file: string): SpecReading {
  const report = reporter(file);
  const without = (diagnostics: readonly Diagnostic[]): SpecReading => ({
    value: undefined,
    diagnostics: inOrder(diagnostics),
    place: () => undefined,
  });

  const unreadable = checkText(text, report);
  if (unreadable.length > 0) return without(unreadable);
  const { documents, problems } = readYamlTree(text);
  const faults = problems.map((problem) => explainProblem(problem, report));
  if (problems.some(({ kind }) => kind === 'syntax')) return without(faults);
  const root = findRoot(documents, report);
  if ('code' in root) return without([...faults, root]);

  const set = readSetOptions(nodeAt(root, ['config', 'set'])?.node, file);
  const { document, diagnostics: complaints } = checkSchema(root, file);
  const diagnostics = inOrder([
    ...faults,
    ...complaints,
    ...set.diagnostics,
    ...checkSeries(root, report),
    ...checkRelease(root, report),
  ]);
  const sound = document && !diagnostics.some(({ severity }) => severity === 'error');
  return {
    value: sound ? specOf(document, set.value) : undefined,
    diagnostics,
    place: (path) => {
      const found = nodeAt(root, path);
      return found && { file, start: found.node.start, end: found.node.end };
    },
  };
}
