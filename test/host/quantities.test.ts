import { expect, it } from 'vitest';

import { formatBytes, formatDuration } from '../../src/host/quantities.ts';

it.each([
  [-1, '0 B'],
  [0, '0 B'],
  [999, '999 B'],
  [1000, '1.0 kB'],
  [1499, '1.5 kB'],
  [9949, '9.9 kB'],
  [9950, '10 kB'],
  [999_499, '999 kB'],
  [999_500, '1.0 MB'],
  [139_331_676, '139 MB'],
  [2_500_000_000, '2.5 GB'],
  [7e15, '7000 TB'],
])('%d bytes are %s', (bytes, text) => {
  expect(formatBytes(bytes)).toBe(text);
});

it.each([
  [-5, '0:00'],
  [999, '0:00'],
  [7000, '0:07'],
  [750_000, '12:30'],
  [3_599_999, '59:59'],
  [3_723_000, '1:02:03'],
  [90_000_000, '25:00:00'],
])('%d ms are %s', (milliseconds, text) => {
  expect(formatDuration(milliseconds)).toBe(text);
});
