/**
 * Answers for a spec that was never pinned: what the default environment says, as it was when this version of Quern was
 * made. Whatever rests on them is said to be assumed.
 */
import { answersBySeries, commonAnswers } from './assumed-answers-data.ts';
import type { MakeRequest } from './make-environment.ts';
import type { Answers } from './tree-questions.ts';

/**
 * @param kernelVersion `6.6.30`: where trees differ, the newest known one that is not newer is taken
 * @returns command line to what it prints
 */
export function assumedAnswers(kernelVersion: string): Answers {
  const number = (version: string): number => {
    const [, major, minor] = /^(\d+)\.(\d+)/.exec(version) ?? [];
    return Number(major ?? 0) * 1000 + Number(minor ?? 0);
  };
  const known = Object.keys(answersBySeries).sort((a, b) => number(a) - number(b));
  const series = known.filter((one) => number(one) <= number(kernelVersion)).at(-1) ?? known[0] ?? '';
  return new Map([...Object.entries(commonAnswers), ...Object.entries(answersBySeries[series] ?? {})]);
}

/**
 * What a toolchain answers most likely, where nobody has asked it: as that of the default environment does, by its own
 * names, and no to what that one is not asked: a yes could bring a package along that makes it come true. Good for a guess
 * that is looked at afterwards, and for nothing else.
 *
 * @param assumed what the default environment answers
 * @param request which toolchain it is
 */
export function likelyAnswer(
  assumed: Answers,
  { crossCompile, llvm }: Pick<MakeRequest, 'crossCompile' | 'llvm'>,
  command: string,
): string {
  const own = llvm
    ? command
        .replaceAll(/\bclang\b(?!-)/gu, 'gcc')
        .replaceAll(/\bld\.lld\b/gu, 'ld')
        .replaceAll(/\bllvm-(?=[a-z])/gu, '')
    : command.replaceAll(crossCompile ?? '', '');
  return assumed.get(own) ?? (command.endsWith('&& echo "y" || echo "n"') ? 'n' : '');
}
