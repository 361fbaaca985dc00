import { execFileSync, spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import Handlebars from 'handlebars';
import { describe, expect, it } from 'vitest';
import { renderSummary, type SummaryFacts } from '../../src/report/summary.ts';
import { facts as build, isolation, sha256 } from '../record/station.ts';

const template = readFileSync(join(import.meta.dirname, '../../templates/summary.md.hbs'), 'utf8');

const station: SummaryFacts = {
  name: 'gauge-station',
  arch: 'x86_64',
  kernelVersion: '6.1.192',
  release: '6.1.192-otter',
  versionString: '#1 Thu Jan  1 00:00:00 UTC 2026',
  artefacts: [
    { name: 'bzImage', size: 2900304, sha256: sha256('the image') },
    { name: 'kernel.config', size: 999, sha256: sha256('config') },
  ],
  requests: [
    { option: 'CRC7', requested: 'm', value: 'm', verdict: 'kept', message: '' },
    {
      option: 'KVM_INTEL',
      requested: 'm',
      value: 'n',
      verdict: 'dropped',
      message: 'It depends on KVM, which is n.',
    },
    {
      option: 'RIVER',
      requested: 'y',
      value: null,
      verdict: 'unknown',
      message: 'This tree has no such option.',
    },
  ],
  inputs: [
    { role: 'spec', name: 'gauge-station.yaml', sha256: sha256('spec') },
    { role: 'patch', name: 'patches/0001-gauge-banner.patch', sha256: sha256('patch') },
  ],
  packages: 159,
  quern: '0.1.0',
  engine: build.engine,
  jobs: 2,
  toolchain: { gcc: 'gcc (Debian 12.2.0-14+deb12u1) 12.2.0', ld: 'GNU ld (GNU Binutils for Debian) 2.40' },
  isolation,
  startedOn: build.startedOn,
  finishedOn: build.finishedOn,
};

describe('renderSummary', () => {
  const text = renderSummary(station, template);

  it.each([
    '# gauge-station: Linux 6.1.192-otter\n',
    '| Version string (`uname -v`) | `#1 Thu Jan  1 00:00:00 UTC 2026` |\n',
    `| \`bzImage\` | 2,900,304 bytes | \`${sha256('the image')}\` |\n| \`kernel.config\` | 999 bytes |`,
    '\n    sha256sum -c --strict SHA256SUMS\n',
    '\n3 requests (1 kept, 1 dropped, 1 unknown).\n\n- dropped: `KVM_INTEL` `m` → `n`  \n  It depends on KVM, which is n.\n- unknown: `RIVER` `y` → `no value`  \n',
    '| patch `patches/0001-gauge-banner.patch` |',
    'The rest, 159 packages that',
    '| Started | `2026-11-25T10:00:00Z` |\n| Took | 15 min 12 s |',
    '| By | `quern 0.1.0`, `docker 20.10.24` |',
    '| No new privileges | `yes` |',
    'Keep a kernel that works in the boot menu',
    'console or a rescue medium',
  ])('says %j', (part) => {
    expect(text).toContain(part);
  });

  it('leaves no blank holes and no trailing newline but one', () => {
    expect(text).not.toMatch(/\n{3}/);
    expect(text).toMatch(/[^\n]\n$/);
  });

  it.each([
    [[], 'The spec asks for no option beyond its base.'],
    [station.requests.slice(0, 1), '1 request, all kept.'],
  ])('sums requests up (%#)', (requests, words) => {
    const summary = renderSummary({ ...station, requests }, template);
    expect(summary).toContain(`## Requests\n\n${words}\n\n## What went in`);
  });

  it.each([
    [0, '0 s'],
    [59_600, '1 min 0 s'],
    [3_600_000, '1 h 0 s'],
    [-5000, '0 s'],
  ])('writes %i ms as %s', (milliseconds, words) => {
    const finishedOn = new Date(station.startedOn.getTime() + milliseconds);
    expect(renderSummary({ ...station, finishedOn }, template)).toContain(`| Took | ${words} |`);
  });
});

describe('the template', () => {
  /** Every statement of the template that prints, by what it prints with. */
  function printers(program: hbs.AST.Program): string[] {
    return program.body.flatMap((statement) => {
      switch (statement.type) {
        case 'ContentStatement':
        case 'CommentStatement':
          return [];
        case 'MustacheStatement': {
          const { path, params, hash } = statement as hbs.AST.MustacheStatement;
          const name = path.type === 'PathExpression' ? (path as hbs.AST.PathExpression).original : path.type;
          return [params.length === 1 && !hash ? name : `${name} without a value of its own`];
        }
        case 'BlockStatement': {
          const block = statement as hbs.AST.BlockStatement;
          const name = block.path.original;
          const own = name === 'each' || name === 'if' ? [] : [`block ${name}`];
          return [...own, ...printers(block.program), ...(block.inverse ? printers(block.inverse) : [])];
        }
        default:
          return [statement.type];
      }
    });
  }

  it('prints nothing but through a helper that quotes', () => {
    expect(new Set(printers(Handlebars.parse(template)))).toEqual(new Set(['text', 'sentence', 'code']));
  });

  it('(this check finds a raw value)', () => {
    expect(printers(Handlebars.parse('{{name}} {{{name}}} {{> part}} {{text a b}}'))).toEqual([
      'name without a value of its own',
      'name without a value of its own',
      'PartialStatement',
      'text without a value of its own',
    ]);
  });

  it('throws when the facts lack what it names', () => {
    expect(() => renderSummary(station, '{{text nobody}}')).toThrow(/not there/);
  });
});

describe('hostile values', () => {
  const evil = fc.oneof(
    fc.constantFrom(
      'a | b | c',
      '`|`|`',
      '\n# owned\n',
      '\r\n\r\n<script>alert(1)</script>\r\n',
      '</code></td></tr></table>',
      '-->\n| x | y |\n| - | - |',
      '{{name}}{{{name}}}',
      '[x](javascript:alert(1)) ![y](http://example.org/p.png)',
      '\u2028# owned\u2029',
      '*\\**__x__~~y~~$z$',
      '\\',
      '\\|',
      '<!--',
      '```',
      '&#124;&lt;b&gt;',
      '',
      ' ',
    ),
    fc.string({ unit: 'binary', maxLength: 30 }),
  );
  const hostile: fc.Arbitrary<SummaryFacts> = fc
    .infiniteStream(evil)
    .map((values) => spread(station, () => String(values.next().value)));

  /** `facts` with every text replaced, save the verdicts that are compared and the dates. */
  function spread(facts: SummaryFacts, next: () => string): SummaryFacts {
    return {
      ...facts,
      name: next(),
      arch: next(),
      kernelVersion: next(),
      release: next(),
      versionString: next(),
      artefacts: facts.artefacts.map((one) => ({ ...one, name: next(), sha256: next() })),
      requests: facts.requests.map((one) => ({
        ...one,
        option: next(),
        requested: next(),
        value: next(),
        verdict: one.verdict === 'kept' ? 'kept' : `not ${next()}`,
        message: next(),
      })),
      inputs: facts.inputs.map(() => ({ role: next(), name: next(), sha256: next() })),
      quern: next(),
      engine: { name: next(), version: next() },
      toolchain: { gcc: next(), ld: next() },
      isolation: { ...isolation, interfaces: [next(), next()], capabilities: next(), memoryLimit: next() },
    };
  }

  /** What GFM makes structure of, line by line: where it begins, its unescaped pipes, its tags. */
  const skeleton = (markdown: string): string[] =>
    markdown.split(/[\n\r\v\f\x85\u2028\u2029]/).map((line) => {
      const start = /^(?:#+ |\| |- | {2,4}(?=\S)|)/.exec(line)?.[0] ?? '';
      const pipes = line.replaceAll('\\|', '').split('|').length;
      const tags = line.replace(/`[^`]*`/g, '').match(/<(?!\/?code>)/g) ?? [];
      return `${start}${pipes} ${tags.length} ${(line.split('`').length - 1) % 2}`;
    });

  it('add no line, no heading, no cell and no HTML', () => {
    const benign = skeleton(renderSummary(station, template));
    fc.assert(
      fc.property(hostile, (facts) => {
        expect(skeleton(renderSummary(facts, template))).toEqual(benign);
      }),
      { numRuns: 200 },
    );
  });

  // Referee: cmark-gfm, the parser that GitHub's own specification comes with (Debian: cmark-gfm).
  const referee = spawnSync('cmark-gfm', ['--version']).status === 0;
  it.skipIf(!referee)('give the same elements as benign ones when the referee makes HTML of them', () => {
    // Code is code whichever way it was quoted; `(empty)` stands for none.
    const elements = (markdown: string): string[] =>
      (
        execFileSync('cmark-gfm', ['--unsafe', '-e', 'table', '-e', 'strikethrough'], { input: markdown })
          .toString()
          .match(/<\/?[a-z0-9]+|<!/g) ?? []
      ).filter((tag) => !tag.endsWith('code'));
    const benign = elements(renderSummary(station, template));
    expect(benign.filter((tag) => tag === '<table')).toHaveLength(5);
    fc.assert(
      fc.property(hostile, (facts) => {
        expect(elements(renderSummary(facts, template))).toEqual(benign);
      }),
      { numRuns: 60 },
    );
  });
});
