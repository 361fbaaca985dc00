/** What is shipped, against the questions of today's trees; the answers themselves are looked at by the slow test. */
import { describe, expect, it } from 'vitest';

import { assumedEnvironment } from '../../src/kconfig/assumed-answers-data.ts';
import { assumedAnswers, likelyAnswer } from '../../src/kconfig/assumed-answers.ts';
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

describe('likelyAnswer', () => {
  const assumed = new Map([
    ['./scripts/cc-version.sh gcc', 'GCC 120200'],
    ['./scripts/ld-version.sh ld', 'BFD 24000'],
    ['./scripts/clang-version.sh gcc', '0'],
    ['nm --version | head -n 1', 'GNU nm'],
  ]);
  const cross = { crossCompile: 'aarch64-linux-gnu-' };
  const llvm = { crossCompile: 'aarch64-linux-gnu-', llvm: true };
  it.each([
    ['that of the own compiler', {}, './scripts/cc-version.sh gcc', 'GCC 120200'],
    ['a cross compiler’s', cross, './scripts/cc-version.sh aarch64-linux-gnu-gcc', 'GCC 120200'],
    ['a cross linker’s', cross, './scripts/ld-version.sh aarch64-linux-gnu-ld', 'BFD 24000'],
    ['clang’s', llvm, './scripts/clang-version.sh clang', '0'],
    ['that of its linker', llvm, './scripts/ld-version.sh ld.lld', 'BFD 24000'],
    ['that of its other programs', llvm, 'llvm-nm --version | head -n 1', 'GNU nm'],
    ['no to what is not known', cross, '{ weir; } >/dev/null 2>&1 && echo "y" || echo "n"', 'n'],
    ['nothing where that is no answer', {}, 'weir --version', ''],
  ])('is %s', (_, request, command, answer) => {
    expect(likelyAnswer(assumed, request, command)).toBe(answer);
  });

  // scripts/Kconfig.include of the trees stops where the compiler or the linker is not one that it knows
  it.for([
    ['6.1', { arch: 'arm64', crossCompile: 'aarch64-linux-gnu-' }],
    ['6.12', { arch: 's390', crossCompile: 's390x-linux-gnu-' }],
    ['6.12', { arch: 'arm64', crossCompile: 'aarch64-linux-gnu-', llvm: true }],
  ] as const)('is enough to read Linux %s for another machine: %o', async ([series, request], context) => {
    const tree = await orSkip(context, kernelTree(series));
    const known = new Map(assumedAnswers(tree.series));
    for (let round = 0; round < 8; round += 1) {
      const reading = readTree(treeOnDisk(tree.folder), request, known);
      if (reading.kind === 'whole') {
        expect(reading.parsed.model).toBeDefined();
        expect(reading.parsed.diagnostics.filter(({ severity }) => severity === 'error')).toEqual([]);
        return;
      }
      for (const command of reading.questions.commands)
        known.set(command, likelyAnswer(known, request, command));
    }
    throw new Error('it asks without end');
  });
});
