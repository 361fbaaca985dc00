/** Requests judged on small Kconfig files of a test's own. */
import type { ExplainInput } from '../../src/kconfig/circumstances.ts';
import { compose } from '../../src/kconfig/compose.ts';
import { configure } from '../../src/kconfig/configure.ts';
import { dialects, type Dialect } from '../../src/kconfig/dialect.ts';
import type { Model } from '../../src/kconfig/model.ts';
import { parseTree } from '../../src/kconfig/parse-tree.ts';
import type { Request } from '../../src/kconfig/requests.ts';
import { judgeRequests, type Verdict } from '../../src/kconfig/verdict.ts';

export interface Small {
  readonly dialect?: Dialect['name'];
  /** Files beside `Kconfig`. */
  readonly files?: Readonly<Record<string, string>>;
  /** Commands and what they print; a function for all. */
  readonly probes?: (command: string) => string;
  readonly environment?: Readonly<Record<string, string>>;
  /** A `.config` to start from. */
  readonly base?: string;
}

/** Requests in the notation `CRC7=m`, one a line of `otter.config`. */
export function asked(...texts: readonly string[]): Request[] {
  return texts.map((text, index) => {
    const at = text.indexOf('=');
    return {
      option: text.slice(0, at),
      value: text.slice(at + 1),
      origin: { file: 'otter.config', line: index + 1 },
    };
  });
}

/** Kconfig text, with the indentation of the test taken away. */
export function kconfig(strings: TemplateStringsArray): string {
  const lines = (strings.raw[0] ?? '').replace(/^\n/u, '').split('\n');
  const indent = Math.min(...lines.filter((line) => line.trim() !== '').map((line) => line.search(/\S/u)));
  return `${lines
    .map((line) => line.slice(indent))
    .join('\n')
    .trimEnd()}\n`;
}

export function smallModel(text: string, small: Small = {}): Model {
  const files = new Map(Object.entries({ ...small.files, Kconfig: text }));
  const { model, diagnostics } = parseTree({
    files: { read: (name) => files.get(name) },
    probes: { answer: (command) => small.probes?.(command) },
    environment: small.environment ?? {},
    dialect: dialects[small.dialect ?? '6.12'],
  });
  if (!model) throw new Error(diagnostics.map(({ message }) => message).join('\n'));
  return model;
}

/** All that an explanation needs, of a configuration that is made from the requests. */
export function smallInput(text: string, requests: readonly Request[], small: Small = {}): ExplainInput {
  const model = smallModel(text, small);
  const files = new Map(Object.entries({ ...small.files, Kconfig: text }));
  const composed = compose({ file: 'base.config', text: small.base ?? '' }, requests);
  return {
    evaluation: configure(model, 'olddefconfig', composed.text).evaluation,
    requests,
    originOf: composed.originOf,
    tree: {
      files: { read: (name) => files.get(name) },
      probes: { answer: (command) => small.probes?.(command) },
      environment: small.environment ?? {},
      paths: () => files.keys(),
    },
  };
}

export function judgeSmall(
  text: string,
  requests: readonly Request[],
  small: Small = {},
): readonly Verdict[] {
  return judgeRequests(smallInput(text, requests, small));
}
