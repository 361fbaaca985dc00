import { kernelArchitectures, type NewOptions } from '../commands/options.ts';
import type { Arguments } from './arguments.ts';

/** How `quern new` is asked. */
export function readNewOptions(given: Arguments): NewOptions {
  const starts = ['base', 'config', 'running'];
  for (const [place, one] of starts.entries()) {
    for (const other of starts.slice(place + 1)) {
      given.exclude(one, other, 'a kernel begins with one configuration');
    }
  }
  const kernel = given.text('kernel');
  const arch = given.choice('arch', kernelArchitectures);
  const base = given.text('base');
  const config = given.text('config');
  const output = given.text('output');
  return {
    name: given.operand(0),
    running: given.on('running'),
    ...(kernel !== undefined && { kernel }),
    ...(arch !== undefined && { arch }),
    ...(base !== undefined && { base }),
    ...(config !== undefined && { config }),
    ...(output !== undefined && { output }),
  };
}
