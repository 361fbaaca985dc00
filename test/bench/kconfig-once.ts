/**
 * One configuration by our engine, as a process of its own: reads the tree, answers probes from a recording, writes the
 * `.config`, and prints what each step took.
 *
 *   kconfig-once TREE RECORDING CONFIG OUTPUT [STORE]
 *
 * RECORDING is JSON, a `TreeRecording`. With STORE the tree is only read when it is not kept there.
 */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { Store } from '../../src/host/store.ts';
import { configure } from '../../src/kconfig/configure.ts';
import { readTree } from '../../src/kconfig/tree-questions.ts';
import type { WholeReading } from '../../src/kconfig/tree-questions.ts';
import { storedTree } from '../../src/source/stored-model.ts';
import type { OnceFigures, TreeRecording } from './kconfig-figures.ts';

const [folder = '', recordingFile = '', configFile = '', output = '', store] = process.argv.slice(2);
const recording = JSON.parse(readFileSync(recordingFile, 'utf8')) as TreeRecording;
const request = { arch: recording.arch };
const answers = new Map(recording.answers);

let reading = 0;
function read(path: string): string | undefined {
  const start = performance.now();
  try {
    return readFileSync(join(folder, path), 'latin1');
  } catch {
    return undefined;
  } finally {
    reading += performance.now() - start;
  }
}

function readWhole(): WholeReading {
  const tree = readTree({ read }, request, answers);
  if (tree.kind === 'asks') throw new Error(`not answered: ${tree.questions.commands.join('\n')}`);
  return tree;
}

const start = performance.now();
const tree =
  store === undefined
    ? readWhole()
    : await storedTree({ store: new Store(store) }, { pack: recording.pack, request, answers }, () =>
        Promise.resolve(readWhole()),
      );
const { model } = tree.parsed;
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
// as cli.ts ends
process.stdout.write(JSON.stringify(figures), () => process.exit(0));
