/**
 * Answers for a spec that was never pinned: what the default environment says, as it was when this version of Quern was
 * made. Whatever rests on them is said to be assumed.
 */
import { answersBySeries, commonAnswers } from './assumed-answers-data.ts';
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
