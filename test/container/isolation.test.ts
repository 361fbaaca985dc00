import { describe, expect, it } from 'vitest';

import { readIsolation } from '../../src/container/isolation.ts';

const told = `isolation=container
user=1000
capabilities=0000000000000000
bounding=0000000000000000
no_new_privileges=1
seccomp=2
interfaces=lo
root=read-only
memory=18957017088
processes=16384
jobs=2
`;

describe('readIsolation', () => {
  it('reads what the build script wrote', () => {
    expect(readIsolation(told)).toEqual({
      jobs: 2,
      isolation: {
        kind: 'container',
        user: 1000,
        capabilities: '0000000000000000',
        bounding: '0000000000000000',
        noNewPrivileges: true,
        seccomp: 2,
        interfaces: ['lo'],
        rootReadOnly: true,
        memoryLimit: '18957017088',
        processLimit: '16384',
      },
    });
  });

  it('does not gloss over a weaker container', () => {
    const weaker = told
      .replace('isolation=container', 'isolation=chroot')
      .replace('root=read-only', 'root=writable')
      .replace('no_new_privileges=1', 'no_new_privileges=0')
      .replace('interfaces=lo', 'interfaces=lo,eth0')
      .replace('memory=18957017088', 'memory=max');
    expect(readIsolation(weaker).isolation).toMatchObject({
      kind: 'chroot',
      rootReadOnly: false,
      noNewPrivileges: false,
      interfaces: ['lo', 'eth0'],
      memoryLimit: 'max',
    });
  });

  it('holds a missing line to be a bug, not a value', () => {
    expect(() => readIsolation(told.replace(/^root=.*\n/mu, ''))).toThrow('said nothing of root');
  });
});
