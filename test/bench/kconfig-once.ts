/**
 * One configuration by our engine, as a process of its own: reads the tree, answers probes from a recording, writes the
 * `.config`, and prints what each step took.
 *
 *   kconfig-once TREE RECORDING CONFIG OUTPUT
 *
 * RECORDING is JSON: the environment and the answers by command.
 */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { configure } from '../../src/kconfig/configure.ts';
import { parseTree } from '../../src/kconfig/parse-tree.ts';
import type { OnceFigures, ProbeRecording } from './kconfig-figures.ts';

const [tree = '', recordingFile = '', configFile = '', output = ''] = process.argv.slice(2);
const recording = JSON.parse(readFileSync(recordingFile, 'utf8')) as ProbeRecording;

let reading = 0;
function read(path: string): string | undefined {
  const start = performance.now();
  try {
    return readFileSync(join(tree, path), 'latin1');
  } catch {
    return undefined;
  } finally {
    reading += performance.now() - start;
  }
}

const start = performance.now();
const { model } = parseTree({
  files: { read },
  probes: { answer: (command) => recording.answers[command] },
  environment: recording.environment,
});
if (!model) throw new Error('the tree cannot be read');
const parsed = performance.now();
const { text } = configure(model, 'olddefconfig', readFileSync(configFile, 'latin1'));
const evaluated = performance.now();
writeFileSync(output, text, 'latin1');
const figures: OnceFigures = {
  reading,
  parsing: parsed - start - reading,
  evaluating: evaluated - parsed,
  writing: performance.now() - evaluated,
  peakMemory: process.resourceUsage().maxRSS / 1024,
};
process.stdout.write(JSON.stringify(figures));
