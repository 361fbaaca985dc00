/**
 * All outputs of a build, each put to the use that it is for. Referees: the kernel's own build of external modules
 * (Documentation/kbuild/modules.rst), dpkg, a C compiler, readelf and addr2line, fdtget
 * (of dtc).
 */
import { execFileSync } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';

import { afterEach, beforeEach, expect, it } from 'vitest';

import { needEngine } from '../setup/engine.ts';
import { makeWorkspace, type Workspace } from './workspace.ts';

needEngine();
let work: Workspace;
beforeEach(() => {
  work = makeWorkspace();
});
afterEach(() => work.remove());

const run = (program: string, ...words: readonly string[]): string =>
  execFileSync(program, words, { cwd: work.folder, encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe'] });

/** Runs a script in the environment that the kernel was built in, with the folder of the test at /work. */
function inEnvironment(script: string): string {
  const images = run('docker', 'image', 'ls', '--format', '{{.Repository}}:{{.Tag}}', 'quern-environment');
  const [image = ''] = images.split('\n');
  const words = ['run', '--rm', '--network', 'none', '-v', `${work.folder}:/work`, '-w', '/work', image];
  return run(
    'docker',
    ...words,
    '/bin/sh',
    '-euc',
    `PATH=/usr/sbin:/usr/bin:/sbin:/bin; export PATH; ${script}`,
  );
}

function built(): { readonly kernelRelease: string } {
  const { status, stdout, stderr } = work.quern(['build', work.spec, '-o', 'out', '--json']);
  expect(stderr).not.toContain('error[');
  expect(status).toBe(0);
  return JSON.parse(stdout) as { readonly kernelRelease: string };
}

function unpack(archive: string): void {
  const folder = archive.replace(/\..*$/u, '');
  mkdirSync(work.path(folder));
  run('tar', '-xJf', `out/${archive}`, '-C', folder);
}

it('serve those who build modules, programs and packages, and who look for mistakes', () => {
  work.change(
    work.spec,
    'outputs: [image, modules]',
    'outputs: [image, modules, vmlinux, headers, extmod-build, debug, deb]',
  );
  work.change(work.spec, '  set:\n', '  set:\n    DEBUG_KERNEL: y\n    DEBUG_INFO_DWARF5: y\n');
  const { kernelRelease: release } = built();
  for (const name of ['modules', 'headers', 'extmod-build', 'debug']) unpack(`${name}.tar.xz`);
  const magic = (module: string): string => run('modinfo', '-F', 'vermagic', module);
  const ours = `modules/lib/modules/${release}/kernel/lib/crc7.ko`;

  // a module of the user's own, against the set alone
  mkdirSync(work.path('gauge'));
  writeFileSync(work.path('gauge/Makefile'), 'obj-m := gauge.o\n');
  writeFileSync(
    work.path('gauge/gauge.c'),
    '#include <linux/module.h>\n#include <linux/crc7.h>\nstatic int __init gauge_init(void)\n{\n\treturn crc7_be(0, (const u8 *)"level", 5) ? 0 : -EINVAL;\n}\nmodule_init(gauge_init);\nMODULE_LICENSE("GPL");\n',
  );
  const said = inEnvironment(`make -C /work/extmod-build/linux-${release} M=/work/gauge modules 2>&1`);
  expect(said).not.toMatch(/warning|error/iu);
  expect(magic('gauge/gauge.ko')).toBe(magic(ours));
  expect(run('modinfo', '-F', 'depends', 'gauge/gauge.ko').trim()).toBe('crc7');
  expect(readFileSync(work.path(`extmod-build/linux-${release}/toolchain`), 'utf8')).toContain('gcc: gcc (');
  const inSet = run('find', 'extmod-build', '-name', '*.pem', '-o', '-name', '*.x509', '-o', '-name', '*.o');
  expect(inSet).toBe('');

  // debug information belongs to what is stripped
  const id = (file: string): string => /Build ID: (\w+)/u.exec(run('readelf', '-n', file))?.[1] ?? '';
  const apart = `debug/usr/lib/debug/lib/modules/${release}`;
  expect(id(`${apart}/vmlinux`)).toBe(id('out/vmlinux'));
  expect(id(`${apart}/kernel/lib/crc7.ko`)).toBe(id(ours));
  expect(run('readelf', '-S', ours)).not.toContain('.debug_info');
  const address =
    /^(\w+) T start_kernel$/mu.exec(readFileSync(work.path('out/System.map'), 'utf8'))?.[1] ?? '';
  expect(run('addr2line', '-e', `${apart}/vmlinux`, address)).toMatch(/init\/main\.c:\d+/u);

  // headers are for programs
  writeFileSync(
    work.path('version.c'),
    '#include <stdio.h>\n#include <linux/version.h>\nint main(void) { printf("%d.%d", LINUX_VERSION_MAJOR, LINUX_VERSION_PATCHLEVEL); }\n',
  );
  run('gcc', '-Iheaders/usr/include', 'version.c', '-o', 'version');
  expect(release.startsWith(`${run('./version')}.`)).toBe(true);

  // the package is what dpkg takes, holds what lies beside it, and calls the hooks of the machine
  const [deb = ''] = readdirSync(work.path('out')).filter((name) => name.endsWith('.deb'));
  expect(run('dpkg-deb', '--field', `out/${deb}`, 'Architecture').trim()).toBe('amd64');
  run('dpkg-deb', '-x', `out/${deb}`, 'package');
  const digest = (file: string): string => run('sha256sum', file).slice(0, 64);
  expect(digest(`package/boot/vmlinuz-${release}`)).toBe(digest('out/bzImage'));
  expect(digest(`package/boot/config-${release}`)).toBe(digest('out/kernel.config'));
  expect(digest(`package/lib/modules/${release}/kernel/lib/crc7.ko`)).toBe(digest(ours));
  const hook = '/etc/kernel/postinst.d/told';
  const told = inEnvironment(
    `mkdir -p /etc/kernel/postinst.d; printf '#!/bin/sh\\necho "told: $*"\\n' >${hook}; chmod +x ${hook}; ` +
      `dpkg -i out/${deb}; dpkg --verify linux-image-${release}; dpkg -r linux-image-${release} >/dev/null; ls /boot`,
  );
  expect(told).toContain(`told: ${release} /boot/vmlinuz-${release}`);
  expect(told).not.toContain('??5??????');
  expect(told).not.toMatch(/^vmlinuz/mu);

  // and all of it comes out the same again
  const first = readFileSync(work.path('out/SHA256SUMS'), 'utf8');
  expect(work.quern(['build', work.spec, '-o', 'again']).status).toBe(0);
  expect(readFileSync(work.path('again/SHA256SUMS'), 'utf8')).toBe(first);
});

it('device trees are those of the machines that the configuration has', () => {
  work.change(work.spec, 'outputs: [image, modules]', 'outputs: [image, dtbs]');
  work.change(work.spec, 'arch: x86_64', 'arch: arm64');
  work.change(work.spec, '  set:\n', '  set:\n    OF: y\n    ARCH_VEXPRESS: y\n');
  writeFileSync(work.path('serial-console.config'), 'CONFIG_PRINTK=y\n');
  built();
  unpack('dtbs.tar.xz');
  const trees = run('find', 'dtbs', '-name', '*.dtb').trim().split('\n');
  expect(trees.length).toBeGreaterThan(3);
  expect(trees.join('\n')).toMatch(/arm\/juno\.dtb/u);
  const juno = trees.find((path) => path.endsWith('/juno.dtb')) ?? '';
  expect(run('fdtget', juno, '/', 'compatible').trim().split(' ')).toContain('arm,juno');
});
