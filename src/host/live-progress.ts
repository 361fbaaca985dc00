import { printable } from '../diagnostics/printable.ts';
import type { Progress } from './progress.ts';
import { formatDuration } from './quantities.ts';
import { countOf, describeStage, newStage, shareOf, type Stage } from './stage.ts';
import { showLines, type TextSink } from './text-sink.ts';

/** A terminal; its width is asked for at each drawing, since a person may change it. */
export interface LiveSink extends TextSink {
  readonly columns?: number;
}

/** Milliseconds between two drawings: often enough for the clock, seldom enough for a slow line. */
const pace = 1000;
const shortestPace = 100;

const usualWidth = 80;
const barWidth = 24;

const clearLine = '\r\u001b[K';

/** Progress for a terminal: one status line that is redrawn in place; what has ended stays above it. */
export function liveProgress(sink: LiveSink, color: boolean): Progress {
  let stage: Stage | undefined;
  let timer: NodeJS.Timeout | undefined;
  let drawnAt = Number.NEGATIVE_INFINITY;

  const draw = (): void => {
    if (!stage) return;
    drawnAt = performance.now();
    sink.write(clearLine + statusLine(stage, drawnAt, (sink.columns || usualWidth) - 1, color));
  };
  const above = (text: string): void => {
    if (stage) sink.write(clearLine);
    showLines(sink, text);
    draw();
  };
  const finish = (): void => {
    clearInterval(timer);
    if (!stage) return;
    const ended = describeStage(stage, performance.now());
    sink.write(clearLine);
    stage = undefined;
    showLines(sink, ended);
  };

  return {
    stage: (name) => {
      finish();
      stage = newStage(name, performance.now());
      draw();
      timer = setInterval(draw, pace).unref();
    },
    advance: (done, total, unit) => {
      if (!stage) return;
      stage = { ...stage, done, total, unit };
      if (performance.now() - drawnAt >= shortestPace) draw();
    },
    line: above,
    end: finish,
  };
}

/** `compiling [######..................]  25 %  258 of 1034 files  1:05`, without the bar where it does not fit. */
function statusLine(stage: Stage, now: number, width: number, color: boolean): string {
  const name = printable(stage.name);
  const share = shareOf(stage);
  const percent = share === undefined ? '' : `${String(Math.floor(share * 100)).padStart(3)} %`;
  const facts = [percent, countOf(stage), formatDuration(now - stage.began)].filter((one) => one !== '');
  const short = [name, ...facts].join('  ');
  const long = share === undefined ? short : [`${name} ${bar(share)}`, ...facts].join('  ');
  const text = (long.length <= width ? long : short).slice(0, width);
  return color ? `\u001b[1m${text.slice(0, name.length)}\u001b[0m${text.slice(name.length)}` : text;
}

function bar(share: number): string {
  const full = Math.floor(share * barWidth);
  return `[${'#'.repeat(full)}${'.'.repeat(barWidth - full)}]`;
}
