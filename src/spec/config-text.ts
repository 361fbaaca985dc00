import type { SpecBase, SpecFragment } from './spec.ts';

/** A base as the spec asks for it, in one line that tells any two apart. */
export function baseText(base: SpecBase): string {
  switch (base.kind) {
    case 'target':
      return base.target;
    case 'file':
      return `./${base.path}`;
    case 'running':
      return `running ./${base.path}`;
    case 'debian':
      return `${base.package} ${base.config}`;
  }
}

/** A fragment in one line: those of the tree in a way in which no file beside the spec can be called. */
export function fragmentText(fragment: SpecFragment): string {
  return typeof fragment === 'string' ? fragment : `tree:${fragment.tree}`;
}

/** Debian's name of the architecture that one of its configurations is for: `amd64` of `amd64_none_amd64`. */
export function configMachine(config: string): string {
  return config.slice(0, config.indexOf('_'));
}
