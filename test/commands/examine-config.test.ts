import { describe, expect, it } from 'vitest';

import { examineConfig } from '../../src/commands/examine-config.ts';
import { spec } from '../kit/fixture.ts';

const epoch = 1767225600;
const origin = { file: 'gauge-station.yaml', line: 12 };
const examine = (
  lines: readonly string[],
  more: {
    readonly requests?: readonly { readonly option: string; readonly value: string }[];
    readonly options?: readonly string[];
    readonly missingKeys?: readonly { readonly option: string; readonly file: string }[];
  } = {},
): ReturnType<typeof examineConfig> =>
  examineConfig(
    spec,
    (more.requests ?? []).map((request) => ({ ...request, origin })),
    {
      config: Buffer.from([...lines, 'CONFIG_MODULES=y', ''].join('\n')),
      kernelVersion: '6.1.192',
      missingKeys: more.missingKeys ?? [],
      ...(more.options && { options: new Set(more.options) }),
    },
    epoch,
  );
const codes = (found: ReturnType<typeof examineConfig>): readonly string[] =>
  found.diagnostics.map(({ code }) => code);

describe('examineConfig', () => {
  it('finds nothing to say of a configuration that has what was asked for', () => {
    const found = examine(['CONFIG_CRC7=m'], { requests: [{ option: 'CRC7', value: 'm' }] });
    expect(found.diagnostics).toEqual([]);
    expect(found.verdicts).toMatchObject([{ option: 'CRC7', verdict: 'kept' }]);
    expect(found.versionString).toBe('#1 Thu Jan  1 00:00:00 UTC 2026');
  });

  it('names a request that is not kept, where it stands, and the name that was meant', () => {
    const found = examine(['CONFIG_CRC7=m'], {
      requests: [
        { option: 'CRC_7', value: 'y' },
        { option: 'XFRM', value: 'y' },
      ],
      options: ['CRC7', 'CRC8', 'XFRM'],
    });
    expect(found.diagnostics).toMatchObject([
      {
        code: 'command/request-not-kept',
        exit: 1,
        message: expect.stringMatching(/^unknown CRC_7 y → /u),
        notes: expect.arrayContaining(['Asked for in gauge-station.yaml:12.']),
        help: 'Did you mean CRC7?',
      },
      { code: 'command/request-not-kept', message: 'dropped XFRM y → n' },
    ]);
  });

  it('answers a key file that the source lacks with the request that cures it', () => {
    const found = examine([], {
      missingKeys: [{ option: 'SYSTEM_TRUSTED_KEYS', file: 'debian/certs/gauge.pem' }],
    });
    expect(found.diagnostics).toMatchObject([
      { code: 'command/key-file-missing', exit: 1, help: expect.stringContaining('SYSTEM_TRUSTED_KEYS: ""') },
    ]);
  });

  // the kernel's Documentation/kbuild/reproducible-builds.rst
  it.each([
    ['CONFIG_MODULE_SIG_KEY="certs/signing_key.pem"', 'command/key-made-by-build'],
    ['CONFIG_RANDSTRUCT=y', 'command/not-reproducible'],
    ['CONFIG_GCC_PLUGIN_LATENT_ENTROPY=y', 'command/not-reproducible'],
  ])('warns of %s', (line, code) => {
    expect(codes(examine([line]))).toEqual([code]);
    expect(examine([line]).diagnostics[0]?.severity).toBe('warning');
  });

  it('warns when the build stamp is longer than a kernel can say', () => {
    expect(codes(examine(['CONFIG_SMP=y', 'CONFIG_PREEMPT_DYNAMIC=y']))).toEqual([]);
    const late = examineConfig(
      spec,
      [],
      {
        config: Buffer.from('CONFIG_MODULES=y\nCONFIG_SMP=y\nCONFIG_PREEMPT_DYNAMIC=y\n'),
        kernelVersion: '6.1.192',
        missingKeys: [],
      },
      253402300799,
    );
    expect(late.versionString.length).toBeLessThanOrEqual(64);
  });

  it('says that there will be no modules', () => {
    const found = examineConfig(
      spec,
      [],
      { config: Buffer.from('CONFIG_64BIT=y\n'), kernelVersion: '6.1.192', missingKeys: [] },
      epoch,
    );
    expect(codes(found)).toEqual(['command/no-modules']);
  });
});
