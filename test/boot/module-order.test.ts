import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { moduleName, orderModules, type ModuleNode } from '../../src/boot/module-order.ts';

/** `a: b c` says that a depends on b and c. */
function modules(text: string): Map<string, ModuleNode> {
  return new Map(
    text
      .trim()
      .split('\n')
      .map((line) => {
        const [name = '', depends = ''] = line.split(':').map((part) => part.trim());
        return [name, { name, depends: depends.split(' ').filter((one) => one !== '') }];
      }),
  );
}

describe('orderModules', () => {
  const river = modules(`
    gauge: serial_core crc7
    serial_core:
    crc7:
    logger: gauge
    clock: clock
    ping: pong
    pong: ping
    lonely: built_in`);

  it.each([
    [['gauge'], ['serial_core', 'crc7', 'gauge']],
    [
      ['logger', 'crc7'],
      ['serial_core', 'crc7', 'gauge', 'logger'],
    ],
    [
      ['crc7', 'gauge'],
      ['crc7', 'serial_core', 'gauge'],
    ],
    [['crc7', 'crc7'], ['crc7']],
    [['clock'], ['clock']],
    [['ping'], ['pong', 'ping']],
    [['lonely'], ['lonely']],
    [['nobody'], []],
    [[], []],
  ])('loads %j as %j', (wanted, expected) => {
    expect(orderModules(river, wanted)).toEqual(expected);
  });

  it('takes the dash of a dependency for the underscore of a name', () => {
    expect(orderModules(modules('a: serial-core\nserial_core:'), ['a'])).toEqual(['serial_core', 'a']);
  });

  it('survives a chain of a hundred thousand', () => {
    const chain = new Map(
      Array.from({ length: 100_000 }, (_, index) => [
        `m${index}`,
        { name: `m${index}`, depends: [`m${index + 1}`] },
      ]),
    );
    expect(orderModules(chain, ['m0'])).toHaveLength(100_000);
  });

  it('puts each behind what it depends on, wherever there is no circle', () => {
    const graph = fc.array(fc.array(fc.nat(30), { maxLength: 5 }), { minLength: 1, maxLength: 31 });
    fc.assert(
      fc.property(graph, fc.array(fc.nat(30)), (edges, wanted) => {
        // Only to smaller numbers: no circles.
        const nodes = new Map(
          edges.map((to, from) => [
            `m${from}`,
            { name: `m${from}`, depends: to.filter((one) => one < from).map((one) => `m${one}`) },
          ]),
        );
        const order = orderModules(
          nodes,
          wanted.map((one) => `m${one}`),
        );
        expect(new Set(order).size).toBe(order.length);
        for (const one of wanted) if (nodes.has(`m${one}`)) expect(order).toContain(`m${one}`);
        for (const [index, name] of order.entries()) {
          for (const needed of nodes.get(name)?.depends ?? []) {
            expect(order.slice(0, index)).toContain(needed);
          }
        }
      }),
    );
  });
});

it.each([
  ['snd-pcm.ko', 'snd_pcm'],
  ['crc7.ko.xz', 'crc7'],
  ['crc7', 'crc7'],
  ['nf_log-ipv4.ko.zst', 'nf_log_ipv4'],
])('moduleName(%s) is %s', (file, name) => {
  expect(moduleName(file)).toBe(name);
});
