import { execFile } from 'node:child_process';
import { createHash } from 'node:crypto';
import { mkdirSync, readdirSync, readFileSync, renameSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { promisify } from 'node:util';

import fc from 'fast-check';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { Store } from '../../src/host/store.ts';
import { configure } from '../../src/kconfig/configure.ts';
import { modelVersion } from '../../src/kconfig/model-tables.ts';
import { readTree } from '../../src/kconfig/tree-questions.ts';
import type { WholeReading } from '../../src/kconfig/tree-questions.ts';
import { storedTree, treeVersion, type TreeKey } from '../../src/source/stored-model.ts';
import { makeWorld, type World } from '../container/world.ts';
import { plainModel } from '../kconfig/plain-model.ts';

let world: World;
beforeEach(() => {
  world = makeWorld();
});
afterEach(() => world.remove());

const weir: Readonly<Record<string, string>> = {
  Makefile:
    'KERNELVERSION = 6.1.9\nSRCARCH := $(ARCH)\nCC = $(CROSS_COMPILE)gcc\n' +
    'CC_VERSION_TEXT = $(shell $(CC) --version)\nexport ARCH SRCARCH CC CC_VERSION_TEXT KERNELVERSION\n',
  Kconfig:
    'mainmenu "Otter Bank \u00e4"\nconfig MODULES\n\tbool "modules"\n\tmodules\n' +
    'config GAUGE\n\ttristate "gauge \u00df"\n\tdepends on CC_IS_OTTER\n\tselect WEIR\nconfig WEIR\n\ttristate\n\trange 1 2\n' +
    'config CC_IS_OTTER\n\tdef_bool $(shell,test "$(CC_VERSION_TEXT)" && echo y)\n',
};

const key: TreeKey = {
  pack: 'a'.repeat(64),
  request: { arch: 'x86_64' },
  answers: new Map([
    ['gcc --version', 'otter-gcc "12" \u00e4'],
    ['test "otter-gcc "12" \u00e4" && echo y', 'y'],
    ['never asked', 'n'],
  ]),
};

function read({ request, answers }: TreeKey, files = weir): WholeReading {
  const reading = readTree({ read: (path) => files[path] }, request, answers);
  if (reading.kind === 'asks') throw new Error(reading.questions.commands.join('\n'));
  return reading;
}

/** Another process that finds the same store. */
const nextProcess = (): World['host'] => ({ ...world.host, store: new Store(world.host.store.folder) });

/** Asks for a tree, and tells whether it had to be read. */
async function ask(
  wanted: TreeKey = key,
  make: () => WholeReading = () => read(wanted),
): Promise<{ readonly tree: WholeReading; readonly wasRead: boolean }> {
  let wasRead = false;
  const tree = await storedTree(nextProcess(), wanted, () => {
    wasRead = true;
    return Promise.resolve(make());
  });
  return { tree, wasRead };
}

function plain({ parsed, ...tree }: WholeReading): unknown {
  const { model, ...rest } = parsed;
  return { ...tree, parsed: { ...rest, model: model && plainModel(model) } };
}

const folder = (): string => join(world.host.store.folder, 'models');

/** The file of the only tree. */
function onlyFile(): string {
  const [name, ...others] = readdirSync(folder());
  if (name === undefined || others.length > 0) throw new Error(`not one file: ${name} ${others.join(' ')}`);
  return join(folder(), name);
}

describe('storedTree', () => {
  it('reads a tree once, and says all of it again', async () => {
    const first = await ask();
    expect(first.wasRead).toBe(true);
    const { tree, wasRead } = await ask();
    expect(wasRead).toBe(false);
    expect(plain(tree)).toEqual(plain(read(key)));
    // with what the kernel's program warns about, and the text that it is about
    expect(tree.parsed.diagnostics.map(({ code }) => code)).toEqual([
      'kconfig/dialect',
      'kconfig/doubtful-entry',
    ]);
    expect([...tree.parsed.sources.keys()]).toEqual(['Kconfig']);
    expect([...tree.answers.keys()]).toEqual(['gcc --version', 'test "otter-gcc "12" \u00e4" && echo y']);
    const { model } = tree.parsed;
    expect(model && configure(model, 'allyesconfig').text).toContain('CONFIG_GAUGE=y\nCONFIG_WEIR=y\n');
  });

  it('does not heed in which order the answers stand', async () => {
    await ask();
    expect((await ask({ ...key, answers: new Map([...key.answers].toReversed()) })).wasRead).toBe(false);
  });

  const cross = new Map([...key.answers, ['weir-gcc --version', 'otter-gcc "12" \u00e4']]);
  it.each<[string, Partial<TreeKey>]>([
    ['another pack', { pack: 'b'.repeat(64) }],
    ['another architecture', { request: { arch: 'arm64' } }],
    ['an answer more', { answers: cross }],
    ['no prefix, but an empty one', { request: { arch: 'x86_64', crossCompile: '' } }],
    [
      'another answer',
      { answers: new Map([...key.answers, ['test "otter-gcc "12" \u00e4" && echo y', 'n']]) },
    ],
  ])('reads it again for %s', async (_, other) => {
    await ask();
    const { tree, wasRead } = await ask({ ...key, ...other });
    expect(wasRead).toBe(true);
    expect(plain(tree)).toEqual(plain(read({ ...key, ...other })));
    expect(readdirSync(folder())).toHaveLength(2);
    expect((await ask()).wasRead).toBe(false);
  });

  it('keeps no tree that is wrong', async () => {
    const wrong = (): WholeReading => read(key, { ...weir, Kconfig: 'config\n' });
    expect((await ask(key, wrong)).tree.parsed.model).toBeUndefined();
    expect((await ask(key, wrong)).wasRead).toBe(true);
  });

  it('keeps no reading that hangs on more answers, or on others, than its key has', async () => {
    for (const answers of [new Map<string, string>(), new Map([['gcc --version', 'another']])]) {
      const less = { ...key, answers };
      expect((await ask(less, () => read(key))).wasRead).toBe(true);
      expect((await ask(less, () => read(key))).wasRead).toBe(true);
    }
  });

  it('passes on what goes wrong while it is read', async () => {
    await expect(storedTree(world.host, key, () => Promise.reject(new Error('no engine')))).rejects.toThrow(
      'no engine',
    );
  });

  it('does its work where nothing can be kept', async () => {
    mkdirSync(world.host.store.folder, { recursive: true });
    writeFileSync(folder(), 'a file where the folder should be');
    expect(plain((await ask()).tree)).toEqual(plain(read(key)));
    expect((await ask()).wasRead).toBe(true);
  });
});

describe('what comes back from the store', () => {
  it('is made again where it is damaged, whatever the damage', async () => {
    await ask();
    const file = onlyFile();
    const whole = readFileSync(file);
    const damage = fc.oneof(
      fc.nat(whole.length - 1).map((length) => whole.subarray(0, length)),
      fc.uint8Array({ minLength: 1, maxLength: 8 }).map((more) => Buffer.concat([whole, more])),
      fc.tuple(fc.nat(whole.length - 1), fc.integer({ min: 1, max: 255 })).map(([place, change]) => {
        const damaged = Buffer.from(whole);
        damaged[place] = (damaged[place] ?? 0) ^ change;
        return damaged;
      }),
      fc.uint8Array({ maxLength: 600 }).map((bytes) => Buffer.from(bytes)),
    );
    await fc.assert(
      fc.asyncProperty(damage, async (bytes) => {
        writeFileSync(file, bytes);
        const { tree, wasRead } = await ask();
        expect(wasRead).toBe(true);
        expect(plain(tree)).toEqual(plain(read(key)));
        expect(readFileSync(file)).toEqual(whole);
      }),
      { numRuns: 300 },
    );
  });

  it('is not believed under the name of another tree', async () => {
    await ask();
    const file = onlyFile();
    const arm = { ...key, request: { arch: 'arm64' } };
    await ask(arm);
    const other = readdirSync(folder())
      .map((name) => join(folder(), name))
      .find((name) => name !== file);
    renameSync(file, other ?? '');
    const { tree, wasRead } = await ask(arm);
    expect(wasRead).toBe(true);
    expect(tree.make.variables['ARCH']).toBe('arm64');
  });

  /** Writes the file anew, with the digest that goes with its content: only somebody with a purpose does that. */
  function forge(change: (facts: string, model: Buffer) => readonly [string, Buffer]): void {
    const file = onlyFile();
    const whole = readFileSync(file);
    const end = whole.indexOf('\n') + 1;
    const [magic, version, name, , length] = whole.toString('latin1', 0, end).trim().split(' ');
    const rest = whole.subarray(end);
    const [facts, model] = change(rest.toString('utf8', 0, Number(length)), rest.subarray(Number(length)));
    const json = Buffer.from(facts.padEnd(facts.length + (-Buffer.byteLength(facts) & 3)));
    const content = Buffer.concat([json, model]);
    const digest = createHash('sha256').update(content).digest('hex');
    const head = [magic, version, name, digest, String(json.length)].join(' ');
    writeFileSync(
      file,
      Buffer.concat([Buffer.from(`${head.padEnd(head.length + (-(head.length + 1) & 3))}\n`), content]),
    );
  }

  it('may be forged so that it is another tree, which this test can do', async () => {
    await ask();
    forge((facts, model) => [facts.replaceAll('x86_64', 'weir32'), model]);
    const { tree, wasRead } = await ask();
    expect(wasRead).toBe(false);
    expect(tree.make.variables['ARCH']).toBe('weir32');
  });

  it.each<[string, (facts: string) => string]>([
    ['no JSON', () => 'otters'],
    ['a list', () => '[]'],
    ['nothing', () => 'null'],
    ['a variable that is a number', (facts) => facts.replace('"x86_64"', '64')],
    ['an answer without a command', (facts) => facts.replace(/"answers":.*/, '"answers":[["y"]]}')],
    ['a list that is none', (facts) => facts.replace(/"notes":\[[^\]]*\]/, '"notes":{"length":0}')],
    ['an error', (facts) => facts.replace('"warning"', '"error"')],
    ['an exit that is none', (facts) => facts.replace(/"exit":\d+/, '"exit":99')],
    ['a place before the beginning', (facts) => facts.replace(/"start":\d+/, '"start":-1')],
    ['a message that moves the cursor', (facts) => facts.replace('"message":"', '"message":"\\u001b[2J')],
  ])('is refused with %s among its facts, though the digest is right', async (_, change) => {
    await ask();
    const before = readFileSync(onlyFile());
    forge((facts, model) => [change(facts), model]);
    expect(readFileSync(onlyFile())).not.toEqual(before);
    const { tree, wasRead } = await ask();
    expect(wasRead).toBe(true);
    expect(plain(tree)).toEqual(plain(read(key)));
  });

  it('leads to a configuration or to another reading, whatever a model with the right digest says', async () => {
    await ask();
    const whole = readFileSync(onlyFile());
    const edits = fc.array(fc.tuple(fc.nat(), fc.nat(255)), { minLength: 1, maxLength: 4 });
    await fc.assert(
      fc.asyncProperty(edits, async (changes) => {
        writeFileSync(onlyFile(), whole);
        forge((facts, model) => {
          const changed = Buffer.from(model);
          for (const [place, value] of changes) changed[place % changed.length] = value;
          return [facts, changed];
        });
        const { model } = (await ask()).tree.parsed;
        if (!model) throw new Error('no model');
        configure(model, 'alldefconfig', 'CONFIG_GAUGE=m\n');
        plainModel(model);
      }),
      { numRuns: 500 },
    );
  });
});

describe('several at once', () => {
  it('write one whole file, in one process', async () => {
    const asked = await Promise.all(Array.from({ length: 16 }, () => ask()));
    for (const { tree } of asked) expect(plain(tree)).toEqual(plain(read(key)));
    onlyFile();
    expect((await ask()).wasRead).toBe(false);
  });

  it('write one whole file, in several processes', { timeout: 120_000 }, async () => {
    const script = `
      import { Store } from '${join(import.meta.dirname, '../../src/host/store.ts')}';
      import { readTree } from '${join(import.meta.dirname, '../../src/kconfig/tree-questions.ts')}';
      import { storedTree } from '${join(import.meta.dirname, '../../src/source/stored-model.ts')}';
      const { store, files, pack, request, answers } = JSON.parse(process.argv[1]);
      const key = { pack, request, answers: new Map(answers) };
      const host = { store: new Store(store) };
      for (let round = 0; round < 50; round += 1) {
        const make = async () => readTree({ read: (path) => files[path] }, request, key.answers);
        const tree = await storedTree(host, { ...key, pack: String(round % 3) + pack.slice(1) }, make);
        if (tree.parsed.model?.symbols.length === undefined) process.exit(1);
      }`;
    const job = { ...key, answers: [...key.answers], files: weir, store: world.host.store.folder };
    const run = promisify(execFile);
    const words = ['--import', 'tsx', '--input-type=module', '-e', script, JSON.stringify(job)];
    await Promise.all(Array.from({ length: 4 }, () => run(process.execPath, words)));
    expect(readdirSync(folder())).toHaveLength(3);
    for (const round of [0, 1, 2]) {
      expect((await ask({ ...key, pack: `${round}${key.pack.slice(1)}` })).wasRead).toBe(false);
    }
  });
});

/** What is kept must not be read as something else: where the bytes are others, a version goes up. */
it('a change of the format goes with a new version', async () => {
  const { parsed, ...tree } = read(key);
  // the words of messages may change without that
  await ask(key, () => ({ ...tree, parsed: { ...parsed, diagnostics: [], sources: new Map() } }));
  const digest = createHash('sha256').update(readFileSync(onlyFile())).digest('hex');
  expect(`${treeVersion} ${modelVersion}: ${digest}`).toBe(
    '2 5: 23f5210b2720e85d50a6072f682fa1a33658a549cfa4df0c405dc415f3abd6cf',
  );
});
