import { afterEach, describe, expect, it, vi } from 'vitest';

import { actionCodes } from '../../action/codes.ts';
import { readInputs, type Inputs } from '../../action/inputs.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import { inputVariables } from './workspace.ts';

afterEach(() => vi.unstubAllEnvs());

function given(inputs: Readonly<Record<string, string>>, env: Readonly<Record<string, string>> = {}): Inputs {
  const all = { ...inputVariables(inputs), ...env };
  for (const [name, value] of Object.entries(all)) vi.stubEnv(name, value);
  return readInputs(all);
}

function refused(
  inputs: Readonly<Record<string, string>>,
  env: Readonly<Record<string, string>> = {},
): Failure['diagnostics'] {
  try {
    given(inputs, env);
  } catch (error) {
    if (error instanceof Failure) return error.diagnostics;
    throw error;
  }
  throw new Error('nothing was refused');
}

const defaults = { spec: 'gauge.yaml', job: 'check', output: 'kernel' };

describe('inputs', () => {
  it.each<[Readonly<Record<string, string>>, Partial<Inputs>]>([
    [{}, {}],
    [{ spec: ' gauge.yaml ' }, {}],
    [{ job: 'build' }, { job: 'build' }],
    [{ job: 'boot' }, { job: 'boot' }],
    [{ output: 'out/gauge' }, { output: 'out/gauge' }],
    [{ lock: 'locks/gauge.json' }, { lock: 'locks/gauge.json' }],
    [{ engine: 'buildah' }, { engine: 'buildah' }],
    [{ jobs: '4' }, { compilers: 4 }],
    [{ artifact: 'Otter Bank – Pegel_1.0 (水位)' }, { artifact: 'Otter Bank – Pegel_1.0 (水位)' }],
    [{ 'retention-days': '90' }, { retentionDays: 90 }],
    [{ lock: '', engine: '', jobs: '', artifact: '', 'retention-days': '' }, {}],
  ])('%j', (inputs, read) => {
    expect(given({ spec: 'gauge.yaml', ...inputs })).toEqual({ ...defaults, ...read });
  });

  it('leaves alone what is no input', () => {
    const env = { QUERN_STORE: '/srv/store', PROBE_HOST: '1', INPUTS_DIR: 'x', 'INPUT_PROBE-HOST': '' };
    expect(given({ spec: 'gauge.yaml' }, env)).toEqual(defaults);
  });
});

const wrong: readonly [Readonly<Record<string, string>>, string, string, string][] = [
  [{ spec: '' }, 'action/missing-input', 'the input `spec` is missing', 'with: { spec: kernel.yaml }'],
  [{ job: 'biuld' }, 'action/bad-input', '`job` does not take `biuld`', 'Did you mean `build`?'],
  [
    { job: 'ship' },
    'action/bad-input',
    '`job` does not take `ship`',
    'It takes one of `check`, `build`, `boot`',
  ],
  [{ engine: 'dokcer' }, 'action/bad-input', '`engine` does not take', 'Did you mean `docker`?'],
  [{ jobs: '0' }, 'action/bad-input', '`jobs` does not take `0`', 'from 1 to 1024'],
  [{ jobs: '1e3' }, 'action/bad-input', '`jobs` does not take `1e3`', 'from 1 to 1024'],
  [{ jobs: '-2' }, 'action/bad-input', '`jobs` does not take `-2`', 'from 1 to 1024'],
  [{ 'retention-days': '91' }, 'action/bad-input', '`retention-days` does not take `91`', 'from 1 to 90'],
  [{ artifact: 'a/b' }, 'action/bad-input', '`artifact` does not take `a/b`', 'none of'],
  [{ artifact: 'a\nb' }, 'action/bad-input', 'does not take `a\\nb`', 'none of'],
  [{ artifact: 'x'.repeat(201) }, 'action/bad-input', '`artifact` does not take `xxx', '200 characters'],
  [{ spec: 'a\n::set-output name=x::y' }, 'action/bad-input', '`spec` does not take', 'on one line'],
  [{ output: 'a\u202eb' }, 'action/bad-input', 'does not take `a\\u202eb`', 'printable'],
  [{ lock: 'a\u001b[2J' }, 'action/bad-input', '`lock` does not take', 'printable'],
  [{ specc: 'x' }, 'action/unknown-input', 'there is no input `specc`', 'Did you mean `spec`?'],
  [
    { retention_days: '3' },
    'action/unknown-input',
    'no input `retention_days`',
    'Did you mean `retention-days`?',
  ],
  [{ colour: 'red' }, 'action/unknown-input', 'there is no input `colour`', 'There are spec, job, output'],
  [{ 'probe-host': 'true' }, 'action/host-probing', '`INPUT_PROBE-HOST` asks', 'Leave it out'],
  [{ probe_host: 'false' }, 'action/host-probing', '`INPUT_PROBE_HOST` asks', 'Leave it out'],
];

describe('an input that is wrong', () => {
  it.each(wrong)('%j', (inputs, code, message, help) => {
    const diagnostics = refused({ spec: 'gauge.yaml', ...inputs });
    expect(diagnostics).toMatchObject([{ code, severity: 'error', exit: 2 }]);
    expect(diagnostics[0]?.message).toContain(message);
    expect(diagnostics[0]?.help).toContain(help);
  });

  it('asks through the environment to probe the host', () => {
    const diagnostics = refused({ spec: 'gauge.yaml' }, { QUERN_PROBE_HOST: '1' });
    expect(diagnostics).toMatchObject([{ code: 'action/host-probing' }]);
  });

  it('is told together with all others', () => {
    const codes = refused({ job: 'x', jobs: 'x', artifact: ':', colour: 'red' }).map(({ code }) => code);
    expect(codes.toSorted()).toEqual([
      'action/bad-input',
      'action/bad-input',
      'action/bad-input',
      'action/missing-input',
      'action/unknown-input',
    ]);
  });

  it('every code of inputs is reached above', () => {
    const reached = new Set(wrong.map(([, code]) => code));
    const uploads = ['action/no-artifact-service', 'action/artifact-failed'];
    expect([...reached, ...uploads].toSorted()).toEqual(Object.keys(actionCodes.entries).toSorted());
  });
});
