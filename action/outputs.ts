import { setOutput } from '@actions/core';

import { exitCodes, type ExitCode } from '../src/diagnostics/diagnostic.ts';
import type { JobReport } from './run-job.ts';

/**
 * What later steps of the workflow can read, by the names of action.yml. What is not known is not there, and reads as
 * an empty text.
 */
export function buildOutputs({ exit, checked, built, booted }: JobReport): ReadonlyMap<string, string> {
  const outputs = new Map([
    ['outcome', outcomeOf(exit)],
    ['exit-code', String(exit)],
  ]);
  const verdicts = (built ?? checked)?.verdicts ?? [];
  if (verdicts.length > 0) {
    const counts = countBy(verdicts.map(({ verdict }) => verdict));
    const kept = counts.get('kept') ?? 0;
    outputs.set('verdicts', JSON.stringify(Object.fromEntries(counts)));
    outputs.set('kept', String(kept));
    outputs.set('not-kept', String(verdicts.length - kept));
  }
  if (built) {
    const { folder, kernelRelease, versionString, artefacts, image } = built;
    outputs.set('folder', folder);
    outputs.set('kernel-release', kernelRelease);
    outputs.set('build-stamp', versionString);
    outputs.set('image', image);
    outputs.set('image-sha256', artefacts.find(({ name }) => name === image)?.sha256 ?? '');
    outputs.set('checksums', artefacts.map(({ name, sha256 }) => `${sha256}  ${name}\n`).join(''));
  }
  if (booted) outputs.set('booted', String(booted.verdict === 'booted' && exit === exitCodes.ok));
  return outputs;
}

/** Tells them to the runner. Values may hold anything: each stands behind a delimiter that nobody can guess. */
export function writeOutputs(outputs: ReadonlyMap<string, string>): void {
  for (const [name, value] of outputs) setOutput(name, value);
}

/** The exit code's name: `ok`, `no`, `usage`, `missing`, `input`, `bug`, `interrupted`. */
function outcomeOf(exit: ExitCode): string {
  return Object.entries(exitCodes).find(([, code]) => code === exit)?.[0] ?? 'bug';
}

function countBy(words: readonly string[]): Map<string, number> {
  const counts = new Map<string, number>();
  for (const word of words) counts.set(word, (counts.get(word) ?? 0) + 1);
  return counts;
}
