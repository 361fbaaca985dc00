import { printable } from '../diagnostics/printable.ts';

/** Longer lines are handed over in pieces, so that a program that never ends its line cannot fill the memory. */
const longestLine = 8192;

/** Colours (ECMA-48, SGR), which programs print when they believe that they talk to a terminal, say nothing: they go. */
const colours = /\u{1b}\[[0-9;:]*m/gu;

export interface LineSplitter {
  push(chunk: Uint8Array): void;
  /** The stream has ended: what is left is a line too. */
  end(): void;
}

/**
 * Cuts a stream of bytes into lines that are safe to show: colours are dropped, other control characters but the tab
 * are spelled out, bytes that are no UTF-8 become U+FFFD. A line ends with LF, CR LF or a CR alone: programs that
 * redraw their progress send CR, and every redrawing is a line here.
 *
 * @param limit the longest line in UTF-16 code units, before anything is spelled out
 */
export function lineSplitter(onLine: (line: string) => void, limit: number = longestLine): LineSplitter {
  const decoder = new TextDecoder('utf-8', { ignoreBOM: true });
  let rest = '';
  /** The last line ended with a CR at the very end of a chunk: an LF that comes next belongs to it. */
  let afterReturn = false;

  /** Hands over whole pieces until what is left fits, and returns that. */
  const emitPieces = (line: string): string => {
    let left = line;
    while (left.length > limit) {
      // A character beyond U+FFFF takes two units; a cut between them would spoil it.
      const end = isLeadSurrogate(left.charCodeAt(limit - 1)) ? limit - 1 : limit;
      onLine(shown(left.slice(0, end)));
      left = left.slice(end);
    }
    return left;
  };

  const feed = (decoded: string): void => {
    if (decoded === '') return;
    const text = afterReturn ? decoded.replace(/^\r*\n?/u, '') : decoded;
    afterReturn &&= text === '' && decoded.endsWith('\r');
    rest += text;
    let start = 0;
    for (const { index, 0: ending } of rest.matchAll(/\r+\n?|\n/gu)) {
      onLine(shown(emitPieces(rest.slice(start, index))));
      start = index + ending.length;
      afterReturn = start === rest.length && ending.endsWith('\r');
    }
    rest = emitPieces(rest.slice(start));
  };

  return {
    push: (chunk) => feed(decoder.decode(chunk, { stream: true })),
    end: () => {
      feed(decoder.decode());
      if (rest !== '') onLine(shown(rest));
      rest = '';
    },
  };
}

function shown(line: string): string {
  return line.replace(colours, '').split('\t').map(printable).join('\t');
}

function isLeadSurrogate(unit: number): boolean {
  return unit >= 0xd800 && unit <= 0xdbff;
}
