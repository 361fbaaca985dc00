import { expect, it } from 'vitest';

import { profileOf, timesByPlace, type CpuProfile } from './cpu-profile.ts';

type Node = CpuProfile['nodes'][number];

const node = (id: number, functionName: string, url: string, ...children: number[]): Node => ({
  id,
  callFrame: { functionName, url },
  children,
});

it('counts work for the innermost package or file of ours, and loading modules as such', () => {
  const modules = 'node:internal/modules/esm/loader';
  const profile = {
    nodes: [
      node(1, '(root)', '', 2, 3, 9, 10),
      node(2, '(garbage collector)', ''),
      node(3, 'main', 'file:///quern/dist/cli.js', 4, 6, 8),
      node(4, 'parse', 'file:///quern/node_modules/@otter/gauge/node_modules/zod/index.js', 5),
      node(5, 'readFileSync', 'node:fs'),
      node(6, 'load', modules, 7),
      node(7, 'compile', ''),
      node(8, 'evaluate', 'file:///quern/node_modules/@otter/gauge/index.js'),
      node(9, '(program)', ''),
      node(10, 'load', 'file:///quern/action/dist/index.cjs'),
    ],
    samples: [2, 3, 4, 5, 6, 7, 8, 9, 3, 10],
    timeDeltas: [1000, 2000, 3000, 4000, 5000, 6000, 7000, 8000, 9000, 500],
  };
  const times = timesByPlace(profile);
  expect([...times]).toEqual([
    ['Quern', 11],
    ['Node: finding, reading and compiling modules', 11],
    ['Node: everything else', 8],
    ['zod', 7],
    ['@otter/gauge', 7],
    ['garbage collection', 1],
    ['the bundle', 0.5],
  ]);
});

it('is taken of a real run', () => {
  const work = 'const end = Date.now() + 50; while (Date.now() < end);';
  const start = {
    name: 'work',
    command: [process.execPath, '-e', work],
    cwd: '/',
    env: process.env,
  } as const;
  const whole = [...timesByPlace(profileOf(start)).values()].reduce((sum, time) => sum + time, 0);
  expect(whole).toBeGreaterThan(50);
});
