import { describe, expect, it } from 'vitest';

import { answerTree, type Ask } from '../../src/commands/answer-tree.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import { createPack, type Pack } from '../../src/kconfig/pack.ts';

function tree(kconfig: string): Pack {
  const texts: Readonly<Record<string, string>> = {
    Makefile:
      'KERNELVERSION = 6.1.9\nSRCARCH := $(ARCH)\nCC = gcc\nCC_VERSION_TEXT = $(shell $(CC) --version)\n' +
      'RIVER = $(shell river)\nexport ARCH SRCARCH CC CC_VERSION_TEXT RIVER KERNELVERSION\n',
    Kconfig: kconfig,
  };
  return createPack(
    '0'.repeat(64),
    Object.entries(texts).map(([path, text]) => [path, { content: Buffer.from(text), executable: false }]),
  );
}

const chained =
  'one := $(shell,first $(CC_VERSION_TEXT))\ntwo := $(shell,second $(one))\nconfig A\n\tdef_bool $(two)\n';

/** Says `y` to everything, and keeps what it was asked, round by round. */
function asker(): { readonly rounds: (readonly string[])[]; readonly ask: Ask } {
  const rounds: (readonly string[])[] = [];
  return {
    rounds,
    ask: (questions) => {
      rounds.push(questions.commands);
      return Promise.resolve(new Map(questions.commands.map((command) => [command, 'y'])));
    },
  };
}

const codes = async (work: Promise<unknown>): Promise<readonly string[]> => {
  const error: unknown = await work.catch((reason: unknown) => reason);
  if (!(error instanceof Failure)) throw new Error(`no failure: ${String(error)}`);
  return error.diagnostics.map(({ code }) => code);
};

describe('answerTree', () => {
  it('asks in rounds, each command once and with the answers that it contains', async () => {
    const { rounds, ask } = asker();
    const whole = await answerTree(tree(chained), { arch: 'arm64' }, ask);
    expect(rounds).toEqual([['gcc --version'], ['first y'], ['second y']]);
    expect([...whole.answers]).toEqual([
      ['gcc --version', 'y'],
      ['first y', 'y'],
      ['second y', 'y'],
    ]);
    expect(whole.make.kernelVersion).toBe('6.1.9');
    expect(whole.parsed.model?.byName.has('A')).toBe(true);
  });

  it('asks for a variable that a Kconfig file of this tree alone looks at', async () => {
    const { rounds, ask } = asker();
    const whole = await answerTree(
      tree('config A\n\tdef_bool $(shell,test $(RIVER))\n'),
      { arch: 'arm64' },
      ask,
    );
    expect(rounds).toEqual([['gcc --version', 'river'], ['test y']]);
    expect(whole.make.variables['RIVER']).toBe('y');
  });

  it('asks again for nothing that is known, and forgets what nobody asks for', async () => {
    const { rounds, ask } = asker();
    const known = new Map([
      ['gcc --version', 'x'],
      ['first x', 'z'],
      ['of another tree', 'y'],
    ]);
    const whole = await answerTree(tree(chained), { arch: 'arm64' }, ask, known);
    expect(rounds).toEqual([['second z']]);
    expect([...whole.answers.keys()]).toEqual(['gcc --version', 'first x', 'second z']);
  });

  it('stops where an answer is missing', async () => {
    expect(
      await codes(answerTree(tree(chained), { arch: 'arm64' }, () => Promise.resolve(new Map()))),
    ).toEqual(['command/probe-unanswered']);
  });

  it('stops where there is no end to it', async () => {
    let nth = 0;
    const steps = Array.from({ length: 40 }, (_, step) => `s${step + 1} := $(shell,step $(s${step}))\n`);
    const endless: Ask = ({ commands }) =>
      Promise.resolve(new Map(commands.map((one) => [one, String((nth += 1))])));
    expect(await codes(answerTree(tree(`s0 := 0\n${steps.join('')}`), { arch: 'arm64' }, endless))).toEqual([
      'command/probes-endless',
    ]);
  });

  it('hands on what goes wrong in asking', async () => {
    const gone = (): Promise<never> => Promise.reject(new Error('the engine is gone'));
    await expect(answerTree(tree(chained), { arch: 'arm64' }, gone)).rejects.toThrow('the engine is gone');
  });
});
