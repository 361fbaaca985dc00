import type { OptionOn } from '../environment/architectures.ts';
import type { Need } from '../environment/need.ts';
import { environmentNeeds } from '../environment/needs.ts';
import { readDotConfig } from '../kconfig/dot-config.ts';
import { makesSigningKey } from '../kconfig/key-files.ts';
import type { Spec } from '../spec/spec.ts';
import type { PatchedPack } from './source-pack.ts';

/**
 * The packages that a spec takes with a configuration.
 *
 * @param asked options that are asked for, whatever becomes of them
 * @param text the `.config`, in latin1
 */
export function configNeeds(
  spec: Spec,
  asked: OptionOn,
  text: string,
  { pack }: Pick<PatchedPack, 'pack'>,
): readonly Need[] {
  const config = readDotConfig(text);
  const resolved: OptionOn = (option) => config.get(option) === 'y';
  return environmentNeeds(spec, { asked, resolved, makesKey: makesSigningKey(text, pack.keys) });
}
