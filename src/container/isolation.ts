import type { Isolation } from '../record/statement.ts';

/**
 * Reads the `key=value` lines in which the build script says what was in force around it, as the kernel that it ran
 * on told it.
 *
 * @throws Error when a line is missing: the script writes them all
 */
export function readIsolation(text: string): { readonly isolation: Isolation; readonly jobs: number } {
  const values = new Map(
    text
      .split('\n')
      .filter((line) => line.includes('='))
      .map((line) => [line.slice(0, line.indexOf('=')), line.slice(line.indexOf('=') + 1).trim()] as const),
  );
  const get = (key: string): string => {
    const value = values.get(key);
    if (value === undefined) throw new Error(`the build script said nothing of ${key}`);
    return value;
  };
  return {
    jobs: Number(get('jobs')),
    isolation: {
      kind: get('isolation') === 'chroot' ? 'chroot' : 'container',
      user: Number(get('user')),
      capabilities: get('capabilities'),
      bounding: get('bounding'),
      noNewPrivileges: get('no_new_privileges') === '1',
      seccomp: Number(get('seccomp')),
      interfaces: get('interfaces').split(',').filter(Boolean),
      rootReadOnly: get('root') === 'read-only',
      memoryLimit: get('memory'),
      processLimit: get('processes'),
    },
  };
}
