import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import type { JobReport } from '../../action/run-job.ts';
import { buildSummary, writeSummary } from '../../action/summary.ts';
import type { Diagnostic } from '../../src/diagnostics/diagnostic.ts';
import type { Host } from '../../src/host/host.ts';
import { noProgress } from '../../src/host/progress.ts';
import { Store } from '../../src/host/store.ts';
import { payloads } from '../spec/hostile.ts';
import { ourTags, renderPage, tagsIn, textsOf } from './page.ts';
import { booted, built, failed, verdict } from './reports.ts';

let folder: string;
let host: Host;
beforeEach(() => {
  folder = mkdtempSync('/tmp/quern-summary-');
  mkdirSync(join(folder, 'kernel'));
  writeFileSync(join(folder, 'kernel', 'summary.md'), '# gauge-station: Linux 6.1.0-gauge\n\nwhat went in\n');
  host = {
    cwd: folder,
    env: {},
    now: () => new Date(),
    signal: new AbortController().signal,
    progress: noProgress,
    store: new Store(join(folder, 'store')),
  };
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const page = (report: JobReport): Promise<string> => buildSummary(report, 'gauge.yaml', host);

const diagnostic = (index: number, more: Partial<Diagnostic> = {}): Diagnostic => ({
  code: 'spec/odd',
  severity: 'error',
  exit: 2,
  message: `mistake ${index}`,
  notes: [`because of ${index}`],
  help: `mend ${index}`,
  ...more,
});

describe('the page of a good build', () => {
  it('says what was built, where it lies and that it boots, and folds the rest', async () => {
    const html = renderPage(await page(booted));
    expect(textsOf(html, 'h2')).toEqual(['gauge-station: Linux 6.1.0-gauge is built, and boots']);
    expect(textsOf(html, 'li')).toEqual([
      'Kernel release (uname -r): 6.1.0-gauge',
      'Build stamp (uname -v): #1 Thu Jan  1 00:00:00 UTC 2026',
      'Folder: kernel',
      'Boot: booted, QEMU emulator version 7.2.22 (tcg), 4.2 s',
    ]);
    expect(textsOf(html, 'td')).toEqual([
      'bzImage',
      '812,000 bytes',
      'a'.repeat(64),
      'System.map',
      '400,000 bytes',
      'b'.repeat(64),
    ]);
    expect(html).toContain('2 requests, all kept.');
    expect(html).toContain('keep a kernel that works in the boot menu');
    expect([...tagsIn(html)].filter((tag) => !ourTags.has(tag))).toEqual([]);
    const [open, folded] = html.split('<details>');
    expect(open).not.toContain('what went in');
    expect(folded).toMatch(/<summary>What went in.*<h1>gauge-station.*<p>what went in<\/p>\n<\/details>/su);
  });

  it('fits on a screen: a title, a list, a small table and three lines', async () => {
    const [open = ''] = (await page(booted)).split('<details>');
    expect(
      open
        .trim()
        .split('\n')
        .filter((line) => line !== '').length,
    ).toBeLessThanOrEqual(20);
  });

  it('leaves out what is folded when there is no room for it', async () => {
    const whole = Buffer.byteLength(await page(booted));
    const text = await buildSummary(booted, 'gauge.yaml', host, whole - 1);
    expect(text).not.toContain('<details>');
    expect(text).toContain('6.1.0-gauge');
    expect(await buildSummary(booted, 'gauge.yaml', host, 10)).toBe('');
  });
});

describe('the page of a job', () => {
  it.each<[string, JobReport, string]>([
    ['a build', built, 'gauge-station: Linux 6.1.0-gauge is built'],
    ['a failure', failed, 'gauge.yaml: not in order'],
    ['a kernel that does not compile', { ...failed, exit: 1 }, 'gauge.yaml: no kernel comes of it'],
    [
      'a missing engine',
      { ...failed, exit: 3 },
      'gauge.yaml: failed, something needed is missing or did not work',
    ],
    ['an altered file', { ...failed, exit: 4 }, 'gauge.yaml: failed, a file is not what it should be'],
    [
      'a kernel that does not boot',
      { ...booted, exit: 1 },
      'gauge-station: Linux 6.1.0-gauge is built, and does not boot as it should',
    ],
    [
      'an emulator that fails',
      { ...built, exit: 3 },
      'gauge-station: Linux 6.1.0-gauge is built, but not all went well',
    ],
    [
      'a good check',
      { ...failed, exit: 0, checked: { name: 'gauge', pinned: true, assumed: false, verdicts: [] } },
      'gauge: the spec is in order',
    ],
    [
      'a check on assumed answers',
      { ...failed, exit: 0, checked: { name: 'gauge', pinned: true, assumed: true, verdicts: [] } },
      'gauge: the spec is in order, as far as can be told before it is pinned',
    ],
    [
      'a check that finds something',
      { ...failed, exit: 1, checked: { name: 'gauge', pinned: true, assumed: false, verdicts: [] } },
      'gauge: would not work',
    ],
  ])('%s has a title', async (_, report, title) => {
    expect(textsOf(renderPage(await page(report)), 'h2')).toEqual([title]);
  });

  it('shows the first error in full, and the others in short', async () => {
    const span = { file: 'gauge.yaml', start: 9, end: 13 };
    const diagnostics = [
      diagnostic(1, { severity: 'warning' }),
      diagnostic(2, { span, notes: ['one', 'two\nlines'] }),
      diagnostic(3),
    ];
    const sources = new Map([['gauge.yaml', 'quern: 1\nnmae: x\n']]);
    const html = renderPage(await page({ ...failed, diagnostics, sources }));
    expect(textsOf(html, 'h3')).toEqual(['mistake 2']);
    expect(textsOf(html, 'p')).toEqual([
      'gauge.yaml:2:1,\nspec/odd',
      'one',
      'two',
      'lines',
      'What to do: mend 2',
    ]);
    expect(textsOf(html, 'li')).toEqual(['warning: mistake 1mend 1', 'error: mistake 3mend 3']);
  });

  it('names requests that are not kept', async () => {
    const checked = {
      name: 'gauge',
      pinned: true,
      assumed: false,
      verdicts: [verdict('kept'), verdict('dropped')],
    };
    const html = renderPage(await page({ ...failed, exit: 1, checked }));
    expect(textsOf(html, 'h2')).toEqual(['gauge: 1 of 2 requests would not be kept']);
    expect(html).toContain('2 requests (1 kept, 1 dropped).');
    expect(textsOf(html, 'li')[0]?.replaceAll(/\s+/gu, ' ').trim()).toBe(
      'dropped: CRC7 m → n the configuration does not mention it',
    );
  });

  it('tells a request that is not kept once, and shows the values in a sentence as code', async () => {
    const checked = { name: 'gauge', pinned: true, assumed: false, verdicts: [verdict('dropped')] };
    const lost = diagnostic(1, { code: 'command/request-not-kept', message: 'dropped CRC7 m → n' });
    const other = diagnostic(2, { message: 'the key file `gauge.pem` is missing' });
    const html = renderPage(await page({ ...failed, exit: 1, checked, diagnostics: [lost, other] }));
    expect(html.match(/CRC7/gu)).toHaveLength(1);
    expect(html).toContain('<h3>the key file <code>gauge.pem</code> is missing</h3>');
  });

  it('is cut, and says so, long before it is too large to be shown', async () => {
    const long = '\u{1f9a6}`|<&'.repeat(10_000);
    const many = Array.from({ length: 3000 }, (_, index) =>
      diagnostic(index, { message: long, notes: Array.from({ length: 100 }, () => long), help: long }),
    );
    const verdicts = Array.from({ length: 3000 }, () =>
      verdict('dropped', { option: long, requested: long, value: long, message: long }),
    );
    const checked = { name: long, pinned: true, assumed: false, verdicts };
    const text = await page({ ...failed, diagnostics: many, checked });
    expect(Buffer.byteLength(text)).toBeLessThan(512 * 1024);
    expect(text).toContain('2959 errors, 2960 requests more&#58; the log has them all.');
  });

  it.each(payloads.map((payload) => [payload.slice(0, 40), payload]))(
    'cannot be taken over: %j…',
    async (_, payload) => {
      const evil = `${payload}\n\n<img src=x onerror=y>\n\n[x](http://otter.example) ![x](y) @otter #1 | a | b`;
      const verdicts = [verdict('dropped', { option: evil, requested: evil, value: evil, message: evil })];
      const checked = { name: evil, pinned: true, assumed: false, verdicts };
      const value = built.built && {
        ...built.built,
        name: evil,
        kernelRelease: evil,
        versionString: evil,
        verdicts,
        artefacts: [{ name: evil, size: 1, sha256: evil }],
      };
      const wrong = diagnostic(1, { message: evil, notes: [evil], help: evil, code: evil });
      const others = [wrong, { ...wrong, span: { file: evil, start: 0, end: 1 } }];
      for (const report of [
        { ...failed, checked, diagnostics: others },
        { ...built, ...(value && { built: value }), diagnostics: others },
      ]) {
        const html = renderPage(await page(report));
        expect([...tagsIn(html)].filter((tag) => !ourTags.has(tag))).toEqual([]);
        expect(textsOf(html, 'h2')).toHaveLength(1);
        expect(textsOf(html, 'h3')).toHaveLength(1);
      }
    },
  );
});

describe('what is written', () => {
  it('stands behind what was written before, and the runner is offered no more than it shows', async () => {
    const file = join(folder, 'page');
    writeFileSync(file, 'before\n');
    await writeSummary(booted, 'gauge.yaml', { ...host, env: { GITHUB_STEP_SUMMARY: file } });
    expect(readFileSync(file, 'utf8')).toMatch(/^before\n## gauge-station.*<\/details>\n/su);
  });

  it('is nothing where no page is asked for', async () => {
    await writeSummary(booted, 'gauge.yaml', host);
  });
});
