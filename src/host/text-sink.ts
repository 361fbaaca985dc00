import { printable } from '../diagnostics/printable.ts';

/** Where text for people goes. */
export interface TextSink {
  write(text: string): unknown;
}

/** Writes a text that stays, each of its lines made printable. */
export function showLines(sink: TextSink, text: string): void {
  sink.write(`${text.split('\n').map(printable).join('\n')}\n`);
}
