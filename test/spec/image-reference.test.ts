import { describe, expect, it } from 'vitest';

import { imageReference, parseImageReference } from '../../src/spec/image-reference.ts';

const digest = 'a'.repeat(64);

/** `registry repository tag digest`, with a dash for what is not there. */
const taken = (text: string): string => {
  const { registry, repository, tag = '-', sha256 } = parseImageReference(text);
  return `${registry} ${repository} ${tag} ${sha256 === undefined ? '-' : 'digest'}`;
};

describe('a reference to an image', () => {
  // What `skopeo` and the engines make of these (containers/image, docker/reference): common practice.
  it.each([
    ['debian', 'docker.io library/debian latest -'],
    ['debian:bookworm-slim', 'docker.io library/debian bookworm-slim -'],
    [`debian@sha256:${digest}`, 'docker.io library/debian - digest'],
    [`debian:bookworm@sha256:${digest}`, 'docker.io library/debian bookworm digest'],
    ['otter/gauge', 'docker.io otter/gauge latest -'],
    ['docker.io/debian:12', 'docker.io library/debian 12 -'],
    ['index.docker.io/otter/gauge', 'docker.io otter/gauge latest -'],
    ['localhost/gauge', 'localhost gauge latest -'],
    ['localhost:5000/gauge:1', 'localhost:5000 gauge 1 -'],
    ['registry.otter-bank.example/build/base:7', 'registry.otter-bank.example build/base 7 -'],
    [
      `registry.otter-bank.example:5000/a/b/c@sha256:${digest}`,
      'registry.otter-bank.example:5000 a/b/c - digest',
    ],
    ['[::1]:5000/gauge', '[::1]:5000 gauge latest -'],
    ['Pier/gauge', 'Pier gauge latest -'],
    ['gauge:5000', 'docker.io library/gauge 5000 -'],
    ['a__b/c-d--e.f:_.-', 'docker.io a__b/c-d--e.f _.- -'],
  ])('%s', (text, parts) => {
    expect(imageReference.pattern.test(text)).toBe(true);
    expect(taken(text)).toBe(parts);
  });

  it.each([
    '',
    'Gauge',
    'otter/Gauge',
    'gauge:',
    'gauge@',
    'gauge:a b',
    'gauge:.a',
    `gauge:${'a'.repeat(129)}`,
    `gauge@sha256:${'A'.repeat(64)}`,
    'gauge@sha256:aa',
    `gauge@sha512:${'a'.repeat(128)}`,
    'a..b',
    'a___b',
    '-a',
    'a/',
    '/a',
    'a//b',
    'https://registry.otter-bank.example/gauge',
    'user@registry.otter-bank.example/gauge',
    'registry.otter-bank.example:port/gauge',
    'registry_1.otter-bank.example/gauge:$(id)',
    '../gauge',
    `localhost/${'a'.repeat(256)}`,
    'gauge\n',
  ])('is not %s', (text) => {
    expect(imageReference.pattern.test(text)).toBe(false);
    expect(() => parseImageReference(text)).toThrow('no image reference');
  });

  it('is judged in time, however long', () => {
    for (const text of ['a-'.repeat(50_000), 'a.'.repeat(50_000), `${'a'.repeat(100_000)}/`]) {
      const start = performance.now();
      imageReference.pattern.test(text);
      expect(performance.now() - start).toBeLessThan(200);
    }
  });
});
