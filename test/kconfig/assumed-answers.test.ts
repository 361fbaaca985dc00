/** What is shipped, against the questions of today's trees; the answers themselves are looked at by the slow test. */
import { describe, expect, it } from 'vitest';

import { assumedEnvironment } from '../../src/kconfig/assumed-answers-data.ts';
import { assumedAnswers } from '../../src/kconfig/assumed-answers.ts';
import { readTree } from '../../src/kconfig/tree-questions.ts';
import { treeOnDisk } from '../../src/source/tree-on-disk.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { kernelTree } from '../oracle/kernel-trees.ts';

describe('the shipped answers', () => {
  it('say where they are from', () => {
    expect(assumedEnvironment).toMatchObject({ debian: 'bookworm', arch: 'x86_64' });
    expect(assumedEnvironment.kernels).toHaveLength(4);
    expect(assumedEnvironment.packages['gcc-12']).toMatch(/^12\./);
  });

  it('are those of $(shell …): one line, nothing of a machine', () => {
    for (const [command, answer] of assumedAnswers('7.3.4')) {
      expect(answer).toMatch(/^[\x20-\x7e]*$/);
      expect(`${command} ${answer}`).not.toMatch(/\/(?:tmp|build|home|root)\//);
    }
  });

  it('say of a tree what its own scripts say, and of one between two what the older says', () => {
    const relr = [...assumedAnswers('6.12.1')].find(([command]) => command.includes('tools-support-relr.sh'));
    const [command = ''] = relr ?? [];
    // the script of 6.12 works with this toolchain's linker, the older ones do not
    const said = ['5.4.1', '5.10.262', '6.6.3', '6.12', '6.18.1', '7.3.4', '8.0-rc1'].map((version) =>
      assumedAnswers(version).get(command),
    );
    expect(said).toEqual(['n', 'n', 'n', 'y', 'y', 'y', 'y']);
  });

  it('have nothing of the machine that asked', () => {
    expect(assumedAnswers('5.10.262').has('uname -r')).toBe(false);
  });

  it.for(['5.10', '6.1', '6.12'] as const)(
    'read Linux %s without a question left',
    { timeout: 120_000 },
    async (series, context) => {
      const tree = await orSkip(context, kernelTree(series));
      const reading = readTree(treeOnDisk(tree.folder), { arch: 'x86_64' }, assumedAnswers(`${series}.1`));
      // a point release may ask something new: then the shipped answers are to be made anew, and only few are missing
      if (reading.kind === 'asks') expect(reading.questions.commands.length).toBeLessThan(4);
      else expect(reading.parsed.model).toBeDefined();
    },
  );
});
