/** The images of the table of architectures, against what the trees' own Makefiles print for `make image_name`. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { expect, it } from 'vitest';

import { builtArchitectures, imageNames, type Architecture } from '../../src/environment/architectures.ts';
import { imageFile } from '../../src/kit/artefacts.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { kernelSeries, kernelTree } from '../oracle/kernel-trees.ts';

/** What `make image_name` prints for a configuration with these options. */
function imageName(tree: string, arch: string, config: string): string {
  const folder = mkdtempSync('/tmp/quern-image-');
  try {
    mkdirSync(join(folder, 'include/config'), { recursive: true });
    mkdirSync(join(folder, 'include/generated'), { recursive: true });
    for (const path of ['.config', 'include/config/auto.conf']) writeFileSync(join(folder, path), config);
    for (const name of ['autoconf.h', 'rustc_cfg'])
      writeFileSync(join(folder, 'include/generated', name), '');
    const words = ['-s', '-C', tree, `O=${folder}`, `ARCH=${arch}`, 'image_name'];
    return execFileSync('make', words, { encoding: 'utf8', stdio: ['ignore', 'pipe', 'ignore'] }).trim();
  } finally {
    rmSync(folder, { recursive: true });
  }
}

const zboot = 'CONFIG_EFI_ZBOOT=y\n';
const inPlace = 'CONFIG_XIP_KERNEL=y\n';

it.for(kernelSeries)('are what Linux %s makes by default', async (series, context) => {
  const { folder } = await orSkip(context, kernelTree(series));
  // trees that pack the image of riscv in several ways always have one of these
  const packed = ['6.12', '7.3'].includes(series) ? 'CONFIG_KERNEL_XZ=y\n' : '';
  const plain = builtArchitectures.map((arch): [Architecture, string] => [
    arch,
    arch === 'riscv' ? packed : '',
  ]);
  const special: [Architecture, string][] = [
    ['arm64', zboot],
    ['riscv', zboot],
    ['arm', inPlace],
  ];
  // options that 5.10 does not have
  const configs = series === '5.10' ? plain : [...plain, ...special];
  const found = configs.map(([arch, config]) => ({ arch, config, path: imageFile(arch, config).path }));
  expect(found).toEqual(
    configs.map(([arch, config]) => ({ arch, config, path: imageName(folder, arch, config) })),
  );
  for (const { path } of found) expect(imageNames).toContain(path.slice(path.lastIndexOf('/') + 1));
});
