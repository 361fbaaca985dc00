import { describe, expect, it } from 'vitest';

import { examineConfig, type Examined } from '../../src/commands/examine-config.ts';
import { outputKinds, type Spec } from '../../src/spec/spec.ts';
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
    expect(codes(examine(['CONFIG_64BIT=y']))).toEqual(['command/no-output']);
  });

  it('says which outputs there will not be, and why', () => {
    const all = { ...spec, outputs: outputKinds };
    const said = (arch: Spec['arch'], lines: readonly string[]): readonly string[] =>
      examineConfig({ ...all, arch }, `${lines.join('\n')}\n`, {
        version: '6.1.192',
        keys: new Set(),
        epoch: 0,
      }).diagnostics.map(({ message }) => message);
    expect(said('x86_64', ['CONFIG_MODULES=y', 'CONFIG_DEBUG_INFO=y'])).toEqual([
      'dtbs are among the outputs, and the tree has no device trees for x86_64',
    ]);
    expect(said('arm64', [])).toEqual([
      'modules are among the outputs, and the configuration has MODULES off',
      'extmod-build is among the outputs, and the configuration has MODULES off',
      'debug is among the outputs, and the configuration has no debug information',
      'dtbs are among the outputs, and the kernel takes no device tree (OF_EARLY_FLATTREE is off)',
    ]);
    const whole = ['CONFIG_MODULES=y', 'CONFIG_DEBUG_INFO=y', 'CONFIG_OF_EARLY_FLATTREE=y'];
    expect(said('arm64', whole)).toEqual([]);
    expect(said('arm64', [...whole, 'CONFIG_DEBUG_INFO_SPLIT=y'])).toEqual([
      'debug is among the outputs, and DEBUG_INFO_SPLIT leaves most of the debug information beside the object files',
    ]);
  });
});
