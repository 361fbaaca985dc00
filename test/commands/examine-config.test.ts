import { describe, expect, it } from 'vitest';

import { examineConfig, type Examined } from '../../src/commands/examine-config.ts';
import { spec } from '../kit/fixture.ts';

const examine = (
  lines: readonly string[],
  { keys = [], epoch = 1767225600 }: { readonly keys?: readonly string[]; readonly epoch?: number } = {},
): Examined =>
  examineConfig(spec, [...lines, ''].join('\n'), { version: '6.1.192', keys: new Set(keys), epoch });
const codes = ({ diagnostics }: Examined): readonly string[] => diagnostics.map(({ code }) => code);

describe('examineConfig', () => {
  it('finds nothing to say of an ordinary configuration', () => {
    const found = examine(['CONFIG_MODULES=y', 'CONFIG_CRC7=m']);
    expect(found.diagnostics).toEqual([]);
    expect(found.versionString).toBe('#1 Thu Jan  1 00:00:00 UTC 2026');
  });

  const trusted = 'CONFIG_SYSTEM_TRUSTED_KEYS="debian/certs/gauge.pem"';

  it('answers a key file that the source lacks with the request that cures it', () => {
    expect(examine(['CONFIG_MODULES=y', trusted]).diagnostics).toMatchObject([
      { code: 'command/key-file-missing', exit: 1, help: expect.stringContaining('SYSTEM_TRUSTED_KEYS: ""') },
    ]);
    expect(codes(examine(['CONFIG_MODULES=y', trusted], { keys: ['debian/certs/gauge.pem'] }))).toEqual([]);
  });

  const signed = 'CONFIG_MODULE_SIG_KEY="certs/signing_key.pem"';

  // the kernel's Documentation/kbuild/reproducible-builds.rst
  it.each([
    [signed, 'command/key-made-by-build'],
    ['CONFIG_RANDSTRUCT=y', 'command/not-reproducible'],
    ['CONFIG_GCC_PLUGIN_LATENT_ENTROPY=y', 'command/not-reproducible'],
  ])('warns of %s', (line, code) => {
    const found = examine(['CONFIG_MODULES=y', line]);
    expect(found.diagnostics).toMatchObject([{ code, severity: 'warning' }]);
  });

  it('warns of no signing key that the source brings', () => {
    expect(codes(examine(['CONFIG_MODULES=y', signed], { keys: ['certs/signing_key.pem'] }))).toEqual([]);
  });

  it('warns when the build stamp is longer than a kernel can say', () => {
    const long = ['CONFIG_MODULES=y', 'CONFIG_SMP=y', 'CONFIG_PREEMPT_DYNAMIC=y'];
    expect(codes(examine(long))).toEqual([]);
    expect(examine(long, { epoch: 253402300799 }).versionString.length).toBeLessThanOrEqual(64);
  });

  it('says that there will be no modules', () => {
    expect(codes(examine(['CONFIG_64BIT=y']))).toEqual(['command/no-modules']);
  });
});
