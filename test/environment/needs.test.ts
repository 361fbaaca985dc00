import { describe, expect, it } from 'vitest';

import type { OptionOn } from '../../src/environment/architectures.ts';
import type { Need } from '../../src/environment/need.ts';
import { environmentNeeds, type KnownConfig, type NeedyPart } from '../../src/environment/needs.ts';
import { spec as station } from '../kit/fixture.ts';

const plain: NeedyPart = {
  ...station,
  patches: [],
  outputs: ['image'],
  kernel: { version: '6.1', source: { kind: 'tree', path: 'linux' } },
};

const on =
  (...options: string[]): OptionOn =>
  (option) =>
    options.includes(option);

function needs(known: Partial<KnownConfig> = {}, spec: Partial<NeedyPart> = {}): readonly Need[] {
  return environmentNeeds({ ...plain, ...spec }, { asked: on(), resolved: on(), makesKey: false, ...known });
}

const names = (found: readonly Need[]): readonly string[] => found.map((need) => need.package);
const least = names(needs());
const more = (known: Partial<KnownConfig>, spec: Partial<NeedyPart> = {}): readonly string[] =>
  names(needs(known, spec)).filter((name) => !least.includes(name));

describe('environmentNeeds', () => {
  // the programs without which scripts/Makefile.host, scripts/kconfig and kernel/time do nothing
  it('has for a kernel that asks for nothing what every build takes, and no more', () => {
    expect(least).toEqual(['bc', 'binutils', 'bison', 'flex', 'gcc', 'libc6-dev', 'make']);
  });

  // the Makefiles of the kernel: top, certs, kernel, scripts, usr, tools; that each is enough and none too many is seen by
  // the slow test, which builds with them
  it.each([
    ['OBJTOOL', 'libelf-dev'],
    ['STACK_VALIDATION', 'libelf-dev'],
    ['DEBUG_INFO_BTF', 'dwarves libelf-dev python3'],
    ['GENDWARFKSYMS', 'libdw-dev libelf-dev'],
    ['MODULE_SIG_FORMAT', 'libssl-dev'],
    ['SYSTEM_TRUSTED_KEYRING', 'libssl-dev'],
    ['KERNEL_GZIP', ''],
    ['KERNEL_BZIP2', 'bzip2'],
    ['KERNEL_LZ4', 'lz4'],
    ['KERNEL_LZO', 'lzop'],
    ['KERNEL_LZMA', 'xz-utils'],
    ['KERNEL_XZ', 'xz-utils'],
    ['KERNEL_ZSTD', 'zstd'],
    ['INITRAMFS_COMPRESSION_LZ4', 'lz4'],
    ['MODULE_COMPRESS_XZ', 'xz-utils'],
    ['MODULE_COMPRESS_ZSTD', 'zstd'],
    ['IKHEADERS', 'cpio xz-utils'],
    ['GCC_PLUGINS', 'g++ gcc-12-plugin-dev'],
    ['RUST', 'bindgen libclang-dev rust-src rustc'],
  ])('of %s takes %s', (option, packages) => {
    expect(more({ resolved: on(option) })).toEqual(packages.split(' ').filter(Boolean));
    for (const need of needs({ resolved: on(option) })) {
      if (!least.includes(need.package)) expect(need.because).toContain(`${option}: `);
    }
  });

  it('has what answers the tree for whoever asks, whatever the configuration comes to', () => {
    expect(more({ asked: on('DEBUG_INFO_BTF', 'KERNEL_LZ4') })).toEqual(['dwarves']);
    expect(more({ asked: on('RUST') })).toEqual(['bindgen', 'libclang-dev', 'rust-src', 'rustc']);
  });

  it('has the headers of the very compiler', () => {
    const plugins = { asked: on('GCC_PLUGINS') };
    expect(more(plugins, { environment: { debian: 'trixie' } })).toContain('gcc-14-plugin-dev');
    expect(more(plugins, { environment: { debian: 'bookworm', gcc: 11 } })).toContain('gcc-11-plugin-dev');
    expect(more(plugins, { arch: 'arm64' })).toContain('gcc-12-plugin-dev-aarch64-linux-gnu');
  });

  it('has what the spec takes: patches, a packed source, modules that it wants', () => {
    expect(more({}, { patches: ['a.patch'] })).toEqual(['patch']);
    expect(more({}, { kernel: station.kernel })).toEqual(['xz-utils']);
    const modules = { resolved: on('MODULES') };
    expect(more(modules)).toEqual([]);
    expect(more(modules, { outputs: ['image', 'modules'] })).toEqual(['kmod', 'xz-utils']);
  });

  it('has openssl for a key that the build makes', () => {
    expect(more({ makesKey: true, resolved: on('SYSTEM_TRUSTED_KEYRING') })).toEqual([
      'libssl-dev',
      'openssl',
    ]);
  });

  it('names none twice, and all reasons of each', () => {
    const found = needs({ resolved: on('KERNEL_ZSTD', 'MODULE_COMPRESS_ZSTD') });
    expect(names(found)).toEqual([...new Set(names(found))].sort());
    expect(found.find((need) => need.package === 'zstd')?.because).toBe(
      'KERNEL_ZSTD: packs the kernel; MODULE_COMPRESS_ZSTD: packs the modules',
    );
  });
});
