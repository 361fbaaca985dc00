import { exitCodes, exitOf, type Diagnostic } from '../diagnostics/diagnostic.ts';
import type { Host } from '../host/host.ts';
import { readFile } from 'node:fs/promises';

import type { Request, Verdict } from '../kconfig/requests.ts';
import { compareWithLock } from '../spec/compare-lock.ts';
import type { Lock } from '../spec/lock.ts';
import { commandCodes } from './codes.ts';
import type { CommandResult } from './command.ts';
import { examineConfig } from './examine-config.ts';
import { openLock, openSpec, type OpenSpec } from './open-spec.ts';
import type { CheckOptions } from './options.ts';
import { changedFiles } from './pinned-files.ts';
import { collectRequests } from './requests.ts';
import { lockPath, readSpecFiles, resolveInside, type LocalFiles } from './spec-files.ts';

export interface CheckValue {
  readonly name: string;
  /** There is a lock, and it is complete. */
  readonly pinned: boolean;
  /** The resolved configuration was at hand, so that there are verdicts. */
  readonly judged: boolean;
  readonly verdicts: readonly Verdict[];
}

/** `quern check`: reads the spec and all that it names, and says what would go wrong, before anything is run. */
export async function check(options: CheckOptions, host: Host): Promise<CommandResult<CheckValue>> {
  const opened = await openSpec(host, options.spec);
  const { spec } = opened;
  const files = await readSpecFiles(host, opened.folder, spec);
  const { source } = spec.kernel;
  if (source.kind !== 'debian') {
    await resolveInside(host, opened.folder, source.path, source.kind === 'tree' ? 'folder' : 'file');
  }
  const asked = collectRequests(opened, files);
  const path = options.lock ?? lockPath(opened.path);
  const lock = (await openLock(host, path))?.lock;
  const against = lock
    ? await checkAgainst(opened, files, asked.requests, lock, host)
    : { judged: false, verdicts: [], diagnostics: [notPinned(options.spec)] };
  const diagnostics = [...opened.diagnostics, ...asked.diagnostics, ...against.diagnostics];
  const { judged, verdicts } = against;
  const value = { name: spec.name, pinned: lock?.answers !== undefined, judged, verdicts };
  const exit = exitOf(diagnostics);
  const text = exit === exitCodes.ok ? describeCheck(value) : '';
  return { exit, diagnostics, value, text, sources: opened.sources };
}

async function checkAgainst(
  opened: OpenSpec,
  files: LocalFiles,
  requests: readonly Request[],
  lock: Lock,
  host: Host,
): Promise<Pick<CheckValue, 'judged' | 'verdicts'> & { readonly diagnostics: readonly Diagnostic[] }> {
  const differences = [
    ...compareWithLock(opened.spec, lock, opened.place),
    ...changedFiles(files, lock.inputs),
  ];
  const { answers } = lock;
  if (differences.length > 0 || !answers || !(await host.store.has(answers.config))) {
    return {
      judged: false,
      verdicts: [],
      diagnostics: differences.length > 0 || answers ? differences : [notPinned(opened.path)],
    };
  }
  const config = await readFile(host.store.path(answers.config));
  const found = { config, kernelVersion: answers.kernelVersion, missingKeys: [] };
  return { judged: true, ...examineConfig(opened.spec, requests, found, answers.epoch) };
}

function notPinned(spec: string): Diagnostic {
  return commandCodes.report('command/not-pinned', {
    message: 'the spec is in order; it has no complete lock, so that nothing can be said of its requests yet',
    help: `quern pin ${spec}`,
  });
}

function describeCheck({ name, pinned, judged, verdicts }: CheckValue): string {
  if (!pinned) return `${name}: the spec is read`;
  const kept = verdicts.filter(({ verdict }) => verdict === 'kept').length;
  const requests = judged
    ? `${kept} of ${verdicts.length} requests kept`
    : 'the configuration is not in the store of this machine, and its requests are judged when it is built';
  return `${name}: the spec is read and pinned; ${requests}`;
}
