import { nearest } from '../diagnostics/nearest.ts';
import { quoted } from '../diagnostics/printable.ts';
import { baseTarget, kernelVersion, localVersion, projectName, sourcePackage } from './grammar.ts';
import { scalarValue } from './yaml-tree.ts';

/** How a key that is missing is written, by its place. */
export const samples: Readonly<Record<string, string>> = {
  quern: 'quern: 1',
  name: 'name: gauge-station',
  kernel: 'kernel: { version: "6.1", source: { debian: linux-source-6.1 } }',
  'kernel.version': 'version: "6.1"',
  'kernel.source': 'source: { debian: linux-source-6.1 }',
  arch: 'arch: x86_64',
  config: 'config: { base: tinyconfig }',
  'config.base': 'base: tinyconfig',
  'config.base.debian': 'debian: linux-config-6.1',
  'config.base.config': 'config: amd64_none_amd64',
  'config.base.running': 'running: station.config',
  'config.fragments[].tree': 'tree: kvm_guest.config',
  environment: 'environment: { debian: bookworm }',
  'environment.debian': 'debian: bookworm',
  'patches[].path': 'path: patches/0001-gauge-banner.patch',
};

/** Other names of the same thing, as Debian and its users write them. */
const synonyms: Readonly<Record<string, Readonly<Record<string, string>>>> = {
  arch: { x86: 'x86_64' },
  'environment.debian': {
    '11': 'bullseye',
    '12': 'bookworm',
    '13': 'trixie',
    debian11: 'bullseye',
    debian12: 'bookworm',
    debian13: 'trixie',
  },
};

function own(table: Readonly<Record<string, string>> | undefined, key: string): string | undefined {
  return table && Object.hasOwn(table, key) ? table[key] : undefined;
}

/** The one of `values` that was meant by `text` at `place`. */
export function meantValue(place: string, text: string, values: readonly string[]): string | undefined {
  return own(synonyms[place], text.toLowerCase()) ?? nearest(text, values);
}

/** A valid spelling of what was meant by `text`, by the place it stands at; `undefined` when none suggests itself. */
const respellings: Readonly<Record<string, (text: string) => string | undefined>> = {
  name: (text) => {
    const slug = text
      .toLowerCase()
      .replace(/[^a-z0-9.]+/g, '-')
      .replace(/^[-.]+|-+$/g, '');
    return projectName.pattern.test(slug) ? slug : undefined;
  },
  'kernel.version': (text) => {
    const bare = text.trim().replace(/^(?:linux-)?v?/i, '');
    return kernelVersion.pattern.test(bare) ? bare : undefined;
  },
  'kernel.source.debian': (text) => {
    const series = /\d+\.\d+/.exec(text)?.[0];
    return series === undefined ? sourcePackage.example : `linux-source-${series}`;
  },
  'config.base': (text) => {
    const target = nearest(text, ['defconfig', 'tinyconfig', 'allnoconfig']);
    const named = `${text.replace(/[^A-Za-z0-9]+$/, '').replace(/[^A-Za-z0-9]?(?:def)?config$/, '')}_defconfig`;
    return target ?? (baseTarget.test(named) ? named : undefined);
  },
  localversion: (text) => {
    if (localVersion.pattern.test(text)) return text;
    const plain = `-${text.replace(/[^A-Za-z0-9._+~]+/g, '-').replace(/^-+|-+$/g, '')}`;
    return localVersion.pattern.test(plain) ? plain : undefined;
  },
};

/** How `text` is written in a spec: in quotes where YAML would take it for something else. */
export function inYaml(text: string): string {
  const bare = /^[A-Za-z0-9._+-]+$/.test(text)
    ? scalarValue({ kind: 'scalar', text, raw: text, plain: true, start: 0, end: 0 })
    : null;
  return typeof bare === 'string' ? text : JSON.stringify(text);
}

/** What is longer was not meant to be something else; and some patterns above take the square of the length. */
const longestSlip = 200;

/** What could be written instead of `text` at `place`, ready to be copied. */
export function respelled(place: string, text: string): string | undefined {
  if (text.length > longestSlip) return undefined;
  const instead = Object.hasOwn(respellings, place) ? respellings[place]?.(text) : undefined;
  return instead === undefined ? undefined : inYaml(instead);
}

/** What exactly is wrong with a path, apart from the rule in general. */
export function pathFault(text: string): string | undefined {
  if (text === '') return 'it is empty';
  if (text.startsWith('/') || /^[A-Za-z]:[\\/]/.test(text)) return 'it is an absolute path';
  if (text.includes('://')) return 'it is a URL, not a file';
  if (text.includes('\\')) return 'folders are divided by `/`, not by a backslash';
  const segments = text.replace(/^\.\//, '').split('/');
  if (segments.includes('..')) return "it leads out of the spec's folder";
  if (segments.includes('.') || segments.includes('')) return 'one of its parts is empty or `.`';
  const odd = /[^\p{L}\p{M}\p{N}._+,=@~\-/ ]/u.exec(text)?.[0];
  if (odd !== undefined) return `it has ${quoted(odd)} in it`;
  const part = segments.find((one) => !/^[\p{L}\p{N}._+@]/u.test(one) || one.endsWith(' '));
  return part === undefined
    ? undefined
    : `its part ${quoted(part)} begins or ends with a character that cannot stand there`;
}
