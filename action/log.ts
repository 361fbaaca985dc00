import { randomUUID } from 'node:crypto';

import { endGroup, startGroup } from '@actions/core';

import { showLines, type TextSink } from '../src/host/text-sink.ts';

/**
 * The log of a step. A runner obeys what looks like a command to it: `::name::` at the start of a line, `##[name]`
 * anywhere in one (actions/runner, `ActionCommand.cs`). So what may hold something of a spec or a build stands between
 * `stop-commands` and a token that nobody can guess, and is made harmless besides, should it ever stand elsewhere.
 */
export interface Log extends TextSink {
  /** A collapsible group begins. In a guarded one nothing is a command. */
  open(title: string, guarded: boolean): void;
  close(): void;
}

export function stepLog(out: TextSink): Log {
  let token: string | undefined;
  return {
    open: (title, guarded) => {
      startGroup(title);
      if (!guarded) return;
      token = randomUUID();
      out.write(`::stop-commands::${token}\n`);
    },
    close: () => {
      if (token !== undefined) out.write(`::${token}::\n`);
      token = undefined;
      endGroup();
    },
    write: (text) => {
      if (text !== '') showLines(out, harmless(text.replace(/\n$/u, '')));
    },
  };
}

/** `text` without anything that a runner takes for a command. */
export function harmless(text: string): string {
  return text.replaceAll('##[', '# #[').replace(/^(\s*)::/gmu, '$1: :');
}
