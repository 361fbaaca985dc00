/** A sample of robustness.slow.test.ts that takes seconds. */
import fc from 'fast-check';
import { expect, test } from 'vitest';

import { meaningCases } from './meaning-cases.ts';
import {
  damagedSnippet,
  edited,
  edits,
  garbage,
  kconfigWords,
  manner,
  newSurvey,
  repeatedFiles,
  repetitions,
  snippetTexts,
  surviveTree,
  wordSoup,
} from './robustness.ts';

test('damaged files end in a configuration or in errors with their places', () => {
  const survey = newSurvey();
  fc.assert(
    fc.property(fc.constantFrom(...meaningCases), edits, manner, ({ kconfig, config }, list, how) => {
      surviveTree(survey, { Kconfig: edited(kconfig, list, kconfigWords) }, how, config ?? '');
    }),
    { numRuns: 1000 },
  );
  fc.assert(
    fc.property(damagedSnippet, manner, (damaged, how) => {
      const [kconfig, config] = snippetTexts(damaged, how.release);
      surviveTree(survey, { Kconfig: kconfig }, how, config);
    }),
    { numRuns: 500 },
  );
  expect(survey).toMatchObject({ inputs: 1500 });
  expect(survey.models).toBeGreaterThan(100);
});

test('so does what is none', () => {
  const survey = newSurvey();
  fc.assert(
    fc.property(wordSoup, garbage, manner, (soup, bytes, how) => {
      surviveTree(survey, { Kconfig: soup, other: bytes }, how, bytes);
    }),
    { numRuns: 1000 },
  );
  expect(survey.inputs).toBe(1000);
});

test('and what is repeated, nested or led in circles', () => {
  const survey = newSurvey();
  for (const index of repetitions.keys()) {
    fc.assert(
      fc.property(fc.nat(300), manner, (count, how) => {
        surviveTree(survey, repeatedFiles(index, count), how, '');
      }),
      { numRuns: 3 },
    );
  }
  expect(survey.inputs).toBe(3 * repetitions.length);
});
