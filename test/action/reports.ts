import type { JobReport } from '../../action/run-job.ts';
import type { CheckValue } from '../../src/commands/check.ts';

type Verdict = CheckValue['verdicts'][number];

/** A request and what became of it. */
export function verdict(kind: Verdict['verdict'], more: Partial<Verdict> = {}): Verdict {
  return {
    option: 'CRC7',
    requested: 'm',
    value: kind === 'kept' ? 'm' : 'n',
    verdict: kind,
    reason: { kind: kind === 'kept' ? 'as-asked' : 'not-taken' },
    message:
      kind === 'kept' ? 'it has the value that was asked for' : 'the configuration does not mention it',
    origin: { file: 'gauge.yaml', line: 3 },
    ...more,
  };
}

/** What is known of a job that came to nothing. */
export const failed: JobReport = { exit: 2, diagnostics: [], sources: new Map(), text: '' };

/** What is known of a good build. */
export const built: JobReport = {
  exit: 0,
  diagnostics: [],
  sources: new Map(),
  text: 'built 6.1.0-gauge in kernel',
  built: {
    name: 'gauge-station',
    folder: 'kernel',
    kernelRelease: '6.1.0-gauge',
    versionString: '#1 Thu Jan  1 00:00:00 UTC 2026',
    artefacts: [
      { name: 'bzImage', sha256: 'a'.repeat(64), size: 812_000 },
      { name: 'System.map', sha256: 'b'.repeat(64), size: 400_000 },
    ],
    image: 'bzImage',
    verdicts: [verdict('kept'), verdict('kept', { option: 'CRC8' })],
  },
};

/** The same, booted. */
export const booted: JobReport = {
  ...built,
  booted: {
    boot: 1,
    verdict: 'booted',
    release: '6.1.0-gauge',
    versionString: '#1 Thu Jan  1 00:00:00 UTC 2026',
    config: 'same',
    modules: [{ name: 'crc7', loaded: true }],
    emulator: 'QEMU emulator version 7.2.22',
    accelerator: 'tcg',
    seconds: 4.2,
  },
};
