import { describe, expect, test } from 'vitest';
import { formatText } from '../../src/diagnostics/format-text.ts';
import { readSpec } from '../../src/spec/read-spec.ts';
import { isFetched, type Spec, type SpecFragment, type SpecPatch } from '../../src/spec/spec.ts';
import { hostileSpecs, payloads, soundSpec } from './hostile.ts';

/** Characters of a text that are not in `allowed`, which lists ASCII ones; letters of other scripts count as allowed. */
function strangers(text: string, allowed: string, otherScripts = false): string {
  return [...text]
    .filter((one) => !allowed.includes(one) && !(otherScripts && /[\p{L}\p{M}\p{N}]/u.test(one)))
    .join('');
}

const letters = 'abcdefghijklmnopqrstuvwxyz';
const digits = '0123456789';
const alphanumeric = letters + letters.toUpperCase() + digits;

function pathFaults(path: string): string[] {
  const parts = path.split('/');
  return [
    strangers(path, `${alphanumeric}/ ._+,=@~-`, true),
    ...parts.filter((part) => ['', '.', '..'].includes(part)).map((part) => `part ${part}`),
    ...parts.filter((part) => ' -~,='.includes(part.charAt(0)) || part.endsWith(' ')),
    ...(path.length > 1024 ? ['long'] : []),
  ].filter((fault) => fault !== '');
}

/** By the parser of URLs that Node has. */
function urlFaults(text: string): string[] {
  const { protocol, username, password, port, hash, hostname } = new URL(text);
  const wrong = protocol !== 'https:' || username + password + port + hash !== '' || !hostname.includes('.');
  return wrong || /[\s'"`$\\;&|<>(){}]/u.test(text) ? [text] : [];
}

/** What git would take for an option, a range, a place in a history, or two names (gitrevisions(7), git-fetch(1)). */
function refFaults(tag: string, commit: string): string[] {
  return [
    strangers(tag, `${alphanumeric}._+-/`),
    strangers(commit, '0123456789abcdef'),
    ...(tag.startsWith('-') || tag.includes('..') ? [tag] : []),
    ...(commit === '' || commit.length === 40 ? [] : [commit]),
  ];
}

/** Without the characters of a pattern, which stand for others. */
function namedPaths(patch: SpecPatch): string {
  const path = typeof patch === 'string' ? patch : 'series' in patch ? patch.series : patch.path;
  return path.replaceAll(/[*?[\]!]/g, 'x');
}

/** Those of the tree are named from folders of it, and may not leave these either. */
function fragmentPath(fragment: SpecFragment): string {
  return typeof fragment === 'string' ? fragment : fragment.tree;
}

/**
 * The rules once more, in other words than the reader's, by characters instead of patterns.
 *
 * @returns what is wrong with a spec that the reader has accepted
 */
function faults(spec: Spec): string[] {
  const { name, kernel, config, patches, localversion, build, environment, outputs } = spec;
  const paths = [...config.fragments.map(fragmentPath), ...patches.flatMap(namedPaths)];
  const { source } = kernel;
  if (source.kind === 'tarball' || source.kind === 'tree') paths.push(source.path);
  if (isFetched(source) && source.keyring !== undefined) paths.push(source.keyring);
  if (source.kind === 'url' && source.signature?.kind === 'file') paths.push(source.signature.path);
  if (config.base.kind === 'file' || config.base.kind === 'running') paths.push(config.base.path);
  const words: [string, string, number][] = [
    [name, `${letters}${digits}.-`, 63],
    [kernel.version, `${digits}.-rc`, 20],
    [localversion, `${alphanumeric}._+~-`, 50],
    [build.user, `${alphanumeric}._-`, 32],
    [build.host, `${alphanumeric}._-`, 32],
    [kernel.source.kind === 'debian' ? kernel.source.package : '', `${letters}${digits}+.-`, 80],
    [config.base.kind === 'target' ? config.base.target : '', `${alphanumeric}_-`, 80],
    [config.base.kind === 'debian' ? config.base.package : '', `${letters}${digits}+.-`, 80],
    [config.base.kind === 'debian' ? config.base.config : '', `${letters}${digits}._-`, 160],
  ];
  const found = [
    ...paths.flatMap(pathFaults),
    ...(source.kind === 'url' ? source.urls.flatMap(urlFaults) : []),
    ...(source.kind === 'git' ? urlFaults(source.url) : []),
    ...(source.kind === 'git' ? refFaults(source.tag ?? '', source.commit ?? '') : []),
    ...(isFetched(source) ? source.signers.map((one) => strangers(one, '0123456789ABCDEF')) : []),
    ...words.map(([text, allowed]) => strangers(text, allowed)),
    ...words.filter(([text, , longest]) => text.length > longest).map(([text]) => text),
    ...[name, build.user, build.host].filter((text) => !alphanumeric.includes(text.charAt(0)) || text === ''),
    ...(config.base.kind === 'target' && config.base.target.startsWith('-') ? ['base'] : []),
    ...(build.epoch !== undefined && !(Number.isInteger(build.epoch) && build.epoch >= 315532800)
      ? ['epoch']
      : []),
    ...(environment.gcc !== undefined && !(Number.isInteger(environment.gcc) && environment.gcc >= 4)
      ? ['gcc']
      : []),
    ...(outputs.length === 0 ? ['outputs'] : []),
  ];
  for (const { option, value } of config.set) {
    found.push(
      strangers(option, `${alphanumeric}_`),
      option === '' || option.startsWith('CONFIG_') ? 'option' : '',
    );
    if (value.startsWith('"')) {
      const inner = value.slice(1, -1).replaceAll('\\\\', '').replaceAll('\\"', '');
      if (!value.endsWith('"') || value.length < 2 || inner.includes('"') || inner.includes('\\'))
        found.push(value);
      if ([...inner].some((one) => (one < ' ' && one !== '\t') || one === '\x7f')) found.push(value);
      if (/\p{Cs}/u.test(inner)) found.push(value);
    } else if (!['y', 'm', 'n'].includes(value)) {
      found.push(strangers(value.replace(/^-|^0[xX]/, ''), `${digits}abcdefABCDEF`));
    }
  }
  return found.filter((fault) => fault !== '');
}

describe('hostileSpecs', () => {
  test('the same seed gives the same specs, another seed others', () => {
    expect(hostileSpecs(300, 1)).toEqual(hostileSpecs(300, 1));
    expect(hostileSpecs(300, 1)).not.toEqual(hostileSpecs(300, 2));
    expect(hostileSpecs(300, 1)).toHaveLength(300);
    expect(hostileSpecs(0, 1)).toEqual([]);
  });

  test('the spec they are made from is sound', () => {
    expect(readSpec(soundSpec, 'x').diagnostics).toEqual([]);
  });

  test('every payload is tried', () => {
    const all = hostileSpecs(4000, 1).join('\n');
    const missing = payloads.filter(
      (payload) => !all.includes(payload) && !all.includes(JSON.stringify(payload).slice(1, -1)),
    );
    expect(missing).toEqual([]);
  });
});

test.each([1, 2])(
  '2000 hostile specs (seed %i): no exception, a value or an error, and only what the rules allow',
  (seed) => {
    let accepted = 0;
    for (const text of hostileSpecs(2000, seed)) {
      const { value, diagnostics } = readSpec(text, 'gauge.yaml');
      const errors = diagnostics.filter(({ severity }) => severity === 'error');
      expect([value === undefined, text.slice(0, 2000)]).toEqual([errors.length > 0, text.slice(0, 2000)]);
      for (const { code, exit, help, span } of errors) {
        expect([code, exit, typeof help, span?.file]).toEqual([code, 2, 'string', 'gauge.yaml']);
        expect(span && span.start <= span.end && span.end <= text.length + 1).toBe(true);
      }
      if (!value) continue;
      accepted += 1;
      expect([faults(value), text]).toEqual([[], text]);
    }
    expect(accepted).toBeGreaterThan(100);
  },
  60_000,
);

test('what is said about hostile specs can be printed: nothing but printable characters', () => {
  for (const text of hostileSpecs(400, 4)) {
    if (text.length > 50_000) continue;
    const { diagnostics } = readSpec(text, 'gauge.yaml');
    const out = formatText(diagnostics, new Map([['gauge.yaml', text]]), { color: false });
    expect(out.replaceAll('\n', '')).not.toMatch(/[\p{C}\p{Zl}\p{Zp}]/u);
  }
});

/** Long texts of one kind of character, against patterns that take the square of the length. */
test.each(['-', '1', '.', 'a/', ' ', '\\', '../', 'CONFIG_', '~', 'é', 'a-', '1.'])(
  'a hundred thousand characters of %j in any field are read in no time',
  (unit) => {
    const long = unit.repeat(Math.floor(100_000 / unit.length));
    const lines = soundSpec
      .split('\n')
      .filter((line) => /(?:name|version|base|serial|HOSTNAME|debian|epoch|user)\b.*\S/.test(line));
    for (const value of [JSON.stringify(`${long}\u0000`), `${long}x`]) {
      for (const line of lines) {
        const text = soundSpec.replace(line, () =>
          line.replace(/(: |- )\S.*$/, (_, before: string) => before + value),
        );
        const start = performance.now();
        readSpec(text, 'x');
        expect([performance.now() - start < 1500, line]).toEqual([true, line]);
      }
    }
  },
);
