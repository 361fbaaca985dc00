import { describeStage, newStage, type Stage } from './stage.ts';
import { showLines, type TextSink } from './text-sink.ts';
import type { Progress } from './progress.ts';

/** Milliseconds between two lines about the same stage. */
const pace = 10_000;

/** Progress for a stream that keeps all it is given: a line when a stage begins and ends, few in between. */
export function plainProgress(sink: TextSink): Progress {
  let stage: Stage | undefined;
  let timer: NodeJS.Timeout | undefined;

  const tell = (): void => {
    if (stage) showLines(sink, describeStage(stage, performance.now()));
  };
  const finish = (): void => {
    clearInterval(timer);
    tell();
    stage = undefined;
  };

  return {
    stage: (name) => {
      finish();
      stage = newStage(name, performance.now());
      showLines(sink, `${name} …`);
      timer = setInterval(tell, pace).unref();
    },
    advance: (done, total, unit) => {
      if (stage) stage = { ...stage, done, total, unit };
    },
    line: (text) => showLines(sink, text),
    end: finish,
  };
}
