import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';

import { terminalProgress, wantsColor, type TerminalStream } from '../../src/host/terminal.ts';

interface Recorder extends TerminalStream {
  readonly written: string[];
}

function recorder(about: { isTTY?: boolean; columns?: number } = {}): Recorder {
  const written: string[] = [];
  return { ...about, written, write: (text) => written.push(text) };
}

/** What a person sees: CR goes back to the start of the line, and `ESC [ K` clears from there. */
function screenOf({ written }: Recorder): string[] {
  const lines = [''];
  for (const [piece] of written.join('').matchAll(/\u{1b}\[K|\u{1b}\[[0-9;]*m|[^]/gu)) {
    if (piece === '\n') lines.push('');
    else if (piece === '\r' || piece === '\u001b[K') lines[lines.length - 1] = '';
    else if (!piece.startsWith('\u001b')) lines[lines.length - 1] += piece;
  }
  return lines;
}

beforeEach(() => {
  vi.useFakeTimers({ toFake: ['setInterval', 'clearInterval', 'performance'] });
});
afterEach(() => {
  vi.useRealTimers();
});

describe('on a terminal', () => {
  const env = { TERM: 'xterm' };

  it('redraws one line with bar, share, count and time', () => {
    const stream = recorder({ isTTY: true, columns: 90 });
    const progress = terminalProgress(stream, env);
    progress.stage('compiling');
    vi.advanceTimersByTime(65_000);
    progress.advance(258, 1032, 'files');
    vi.advanceTimersByTime(1000);
    expect(screenOf(stream)).toEqual([
      'compiling [######..................]   25 %  258 of 1032 files  1:06',
    ]);
  });

  it('shows no bar while the total is unknown, or turns out to be too small', () => {
    const stream = recorder({ isTTY: true, columns: 90 });
    const progress = terminalProgress(stream, env);
    progress.stage('fetching');
    vi.advanceTimersByTime(1500);
    progress.advance(12_345_678, undefined, 'bytes');
    expect(screenOf(stream)).toEqual(['fetching  12 MB  0:01']);
    progress.advance(12_345_678, 1000, 'bytes');
    vi.advanceTimersByTime(1000);
    expect(screenOf(stream)).toEqual(['fetching  12 MB  0:02']);
  });

  it('leaves a line behind for each stage, and the cursor on a line of its own', () => {
    const stream = recorder({ isTTY: true, columns: 90 });
    const progress = terminalProgress(stream, env);
    progress.stage('fetching');
    progress.advance(3, 3, 'files');
    vi.advanceTimersByTime(8000);
    progress.stage('compiling');
    progress.line('warning: the river\nis high');
    progress.end();
    expect(screenOf(stream)).toEqual([
      'fetching: 3 files, 0:08',
      'warning: the river',
      'is high',
      'compiling: 0:00',
      '',
    ]);
  });

  it('never fills the last column, so that no terminal wraps', () => {
    for (const columns of [10, 20, 40, 60, 80]) {
      const stream = recorder({ isTTY: true, columns });
      const progress = terminalProgress(stream, env);
      progress.stage('a stage with quite a long name');
      progress.advance(1, 2, 'files');
      vi.advanceTimersByTime(5000);
      expect(Math.max(...screenOf(stream).map((line) => line.length))).toBeLessThan(columns);
      progress.end();
    }
  });

  it('draws at most ten times a second, however often it is told', () => {
    const stream = recorder({ isTTY: true, columns: 80 });
    const progress = terminalProgress(stream, env);
    progress.stage('compiling');
    for (let done = 1; done <= 1000; done += 1) {
      vi.advanceTimersByTime(1);
      progress.advance(done, 1000, 'files');
    }
    expect(stream.written.length).toBeLessThanOrEqual(12);
    expect(stream.written.length).toBeGreaterThan(5);
  });

  it('cannot be driven by what is shown', () => {
    const stream = recorder({ isTTY: true, columns: 80 });
    const progress = terminalProgress(stream, { ...env, NO_COLOR: '1' });
    progress.stage('patch \u001b[2J\u202e.patch');
    progress.line('line \u001b]0;title\u0007');
    progress.end();
    expect(stream.written.join('').replaceAll('\r\u001b[K', '')).not.toMatch(/[\u{1b}\u{7}\u{202e}]/u);
  });

  it('keeps no timer after the end', () => {
    const progress = terminalProgress(recorder({ isTTY: true }), env);
    progress.stage('compiling');
    progress.end();
    progress.end();
    expect(vi.getTimerCount()).toBe(0);
  });
});

describe('elsewhere', () => {
  it('writes a line when a stage begins and ends, and one every ten seconds in between', () => {
    const stream = recorder();
    const progress = terminalProgress(stream, {});
    progress.stage('compiling');
    for (let second = 1; second <= 25; second += 1) {
      progress.advance(second * 10, 400, 'files');
      vi.advanceTimersByTime(1000);
    }
    progress.line('a line that stays');
    progress.stage('packing');
    progress.end();
    expect(stream.written.join('').split('\n')).toEqual([
      'compiling …',
      'compiling: 100 of 400 files, 0:10',
      'compiling: 200 of 400 files, 0:20',
      'a line that stays',
      'compiling: 250 of 400 files, 0:25',
      'packing …',
      'packing: 0:00',
      '',
    ]);
    expect(vi.getTimerCount()).toBe(0);
  });

  it('sends no control character, not even to a terminal that is dumb', () => {
    const stream = recorder({ isTTY: true, columns: 80 });
    const progress = terminalProgress(stream, { TERM: 'dumb' });
    progress.stage('fetching \u001b[1m');
    progress.advance(1, undefined, 'files');
    progress.end();
    expect(stream.written.join('')).toBe('fetching \\x1b[1m …\nfetching \\x1b[1m: 1 file, 0:00\n');
  });
});

describe('colour', () => {
  // https://no-color.org: "when present and not an empty string (regardless of its value)".
  it.each<[string, boolean, Record<string, string>, boolean]>([
    ['a terminal', true, { TERM: 'xterm' }, true],
    ['NO_COLOR', true, { NO_COLOR: '1' }, false],
    ['NO_COLOR=0', true, { NO_COLOR: '0' }, false],
    ['an empty NO_COLOR', true, { NO_COLOR: '' }, true],
    ['a dumb terminal', true, { TERM: 'dumb' }, false],
    ['a pipe', false, { TERM: 'xterm' }, false],
  ])('%s', (_, isTTY, env, wanted) => {
    expect(wantsColor(recorder({ isTTY }), env)).toBe(wanted);
    const stream = recorder({ isTTY });
    const progress = terminalProgress(stream, env);
    progress.stage('compiling');
    progress.end();
    expect(stream.written.join('').includes('\u001b[1m')).toBe(wanted);
  });
});
