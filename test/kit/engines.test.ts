/**
 * What each engine is asked by a kit. The engines are stand-ins that write down their arguments; that the real ones
 * take these is shown where kernels are built.
 */
import { spawn } from 'node:child_process';
import { existsSync, readFileSync, symlinkSync } from 'node:fs';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { inputs, sha256 } from './fixture.ts';
import { deb } from './package-file.ts';
import {
  engineStandIn,
  layArtefacts,
  layInputs,
  makeWorkbench,
  programsBut,
  shells,
  type Workbench,
} from './workbench.ts';

/** The smallest base that an environment can be made of. */
const base = deb([
  { name: './etc/' },
  { name: './etc/name', text: 'gauge' },
  { name: './bin/sh', text: 'shell' },
]);

let bench: Workbench;
beforeEach(async () => {
  bench = await makeWorkbench(() => ({
    packages: inputs.packages.map((pin) =>
      pin.essential ? { ...pin, size: base.length, sha256: sha256(base) } : pin,
    ),
  }));
  layInputs(bench);
  layArtefacts(bench);
  for (const { path, essential } of inputs.packages) {
    if (essential) bench.write(`kit/inputs/${path.slice(path.lastIndexOf('/') + 1)}`, base);
  }
});
afterEach(() => bench.remove());

/** The same, with `NAME` for what differs from run to run. */
const lines = (): readonly string[] =>
  bench.calls().map((call) => call.join(' ').replaceAll(/quern-([a-z-]+)-\d{14}-[A-Za-z0-9]+/gu, 'NAME-$1'));

const buildahStandIn = (state: string): string => `#!/bin/sh
state='${state}'
{ printf '%s\\0' "$@"; printf '\\n'; } >>"$state/calls"
case "$1 $*" in
  'info '*) cat "$state/arch" 2>/dev/null || echo amd64 ;;
  'inspect '*' image '*) [ -e "$state/image" ] && echo sha256:57a7104 ;;
  'inspect '*' container '*) [ -e "$state/volume" ] ;;
  'add '*) cp "$4" "$state/" ;;
  'commit '*) : >"$state/image" ;;
  'unshare '*) shift; exec "$@" ;;
  'run '*' /bin/true') [ ! -e "$state/no-container" ] ;;
  'run '*' tar -x '*) cat >"$state/in.tar" ;;
  'run '*' tar -c '*) tar -c -C "$state/out" . ;;
  'run '*' /build/kit/build.sh')
    [ ! -e "$state/wait" ] || { sleep 60 & echo $! >"$state/pid"; wait; }
    exit "$(cat "$state/status" 2>/dev/null || echo 0)" ;;
esac
`;

/** Leaves its own options away, as nothing is set apart here. */
const unshareStandIn = `#!/bin/sh
while :; do case $1 in --*) shift ;; *) break ;; esac; done
exec "$@"
`;

const useBuildah = (): void => {
  bench.program('buildah', buildahStandIn(bench.state));
  bench.program('unshare', unshareStandIn);
};

const apart = process.getuid?.() === 0 ? [] : ['unshare unshare'];

describe('without -e', () => {
  const answering = (name: string, script: string): void => {
    bench.program(name, script);
    bench.write('state/image', '');
  };
  const refuses = "#!/bin/sh\necho 'first line' >&2; echo 'it is out of order' >&2; exit 125\n";

  it.each(['docker', 'podman', 'buildah'])('takes the first that answers: %s', async (name) => {
    for (const other of ['docker', 'podman', 'buildah']) bench.program(other, refuses);
    bench.program('unshare', unshareStandIn);
    answering(name, name === 'buildah' ? buildahStandIn(bench.state) : engineStandIn(bench.state));
    for (const shell of shells) {
      const { status, stderr } = await bench.run(['-o', shell.join(''), 'build'], { shell });
      expect(stderr).toBe('');
      expect(status).toBe(0);
    }
    expect(lines().filter((line) => line.endsWith('/build/kit/build.sh'))).toHaveLength(2);
  });

  it('says of each why not, and how to get one', async () => {
    const env = { PATH: programsBut(bench, ['docker', 'podman', 'buildah']) };
    const none = await bench.run(['environment'], { env });
    expect(none.status).toBe(3);
    expect(none.stderr).toBe(`run.sh: there is no container engine that answers
run.sh: docker: it is not installed
run.sh: podman: it is not installed
run.sh: buildah: it is not installed
run.sh: install one (Debian, Ubuntu: apt install docker.io, or podman, or buildah), or name another with -e
`);
    bench.program('podman', refuses);
    symlinkSync(bench.path('bin/podman'), bench.path('path/podman'));
    const broken = await bench.run(['environment'], { env });
    expect(broken.stderr).toContain('run.sh: podman: it is out of order\n');
    expect(broken.status).toBe(3);
  });
});

it('asks podman the same as docker', async () => {
  bench.program('podman', engineStandIn(bench.state).replace("'version --format'", "'info --format'"));
  const all = [
    ['environment'],
    ['-o', 'out', '-k', 'build'],
    ['shell', 'quern-kept-20260101000000-1'],
    ['remove', 'quern-kept-20260101000000-1'],
  ];
  const asked = async (engine: string): Promise<readonly string[]> => {
    const before = lines().length;
    for (const words of all)
      await bench.run(['-e', engine, '-m', '1000', ...words.map((word) => word.replace('out', engine))]);
    return lines()
      .slice(before)
      .filter((line) => !/^(?:version|info)/u.test(line));
  };
  bench.write('state/volume', '');
  const first = await asked('docker');
  expect(
    first.some((line) => line.startsWith('build --network none --force-rm --tag quern-environment:')),
  ).toBe(true);
  expect(first.filter((line) => line.startsWith('run '))).toHaveLength(4);
  const second = await asked('podman');
  // the image is there the second time: it is neither made nor looked for again
  const made = first.findIndex((line) => line.startsWith('build '));
  expect(second).toEqual(first.toSpliced(made, 2));
});

describe('buildah', () => {
  beforeEach(useBuildah);

  it('makes the environment in a container of its own, without network, and leaves the image alone', async () => {
    const { status, stderr } = await bench.run(['-e', 'buildah', 'environment']);
    expect(stderr).toBe('');
    expect(status).toBe(0);
    const [image = ''] = /quern-environment:[0-9a-f]{24}/u.exec(lines().at(2) ?? '') ?? [];
    expect(lines().map((line) => line.replace(/\/\S+\/context/u, 'CONTEXT'))).toEqual(
      [
        'info',
        'info --format {{.host.arch}}',
        `inspect --type image ${image}`,
        'from --quiet --name NAME-environment scratch',
        'add --quiet NAME-environment CONTEXT/seed.tar /',
        'run --network host NAME-environment -- /bin/true',
        'run --network host NAME-environment -- /bin/sh /environment.sh',
        `commit --quiet NAME-environment ${image}`,
        'rm NAME-environment',
        `inspect --type image ${image}`,
      ].flatMap((line) => (line.startsWith('run ') ? [...apart, line] : [line])),
    );
    // another is made no more than once
    const before = lines().length;
    expect((await bench.run(['-e', 'buildah', 'environment'])).status).toBe(0);
    expect(
      lines()
        .slice(before)
        .filter((line) => line.startsWith('from')),
    ).toEqual([]);
  });

  it.each([
    ['the isolation that it finds', '', 'container', ''],
    ['a chroot where that does not work', 'state/no-container', 'chroot', '--isolation chroot '],
  ])('builds with %s', async (_, lack, isolation, option) => {
    bench.write('state/image', '');
    if (lack !== '') bench.write(lack, '');
    const { status, stderr } = await bench.run([
      '-e',
      'buildah',
      '-m',
      '1000',
      '-j',
      '3',
      '-o',
      'out',
      'build',
    ]);
    expect(stderr).toBe('');
    expect(status).toBe(0);
    const shut =
      `run ${option}--network host --hostname quern --workingdir /build NAME-gauge-station -- /usr/bin/setpriv ` +
      '--reuid 1000 --regid 1000 --clear-groups --no-new-privs --inh-caps=-all --bounding-set=-all';
    const clean =
      '/usr/bin/env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME=/build TMPDIR=/build/tmp LC_ALL=C TZ=UTC';
    expect(
      lines()
        .slice(4)
        .filter((line) => line !== apart[0]),
    ).toEqual([
      'from --quiet --name NAME-gauge-station --memory 1000 sha256:57a7104',
      'run --network host NAME-gauge-station -- /bin/true',
      `${shut} tar -x -C /build --one-top-level=kit`,
      `${shut} ${clean} JOBS=3 ISOLATION=${isolation} /bin/sh /build/kit/build.sh`,
      `${shut} tar -c -C /build/out .`,
      'rm NAME-gauge-station',
    ]);
  });

  it('says so when the machine has chosen a chroot itself', async () => {
    bench.write('state/image', '');
    await bench.run(['-e', 'buildah', '-o', 'out', 'build'], { env: { BUILDAH_ISOLATION: 'chroot' } });
    expect(lines().join('\n')).toContain('ISOLATION=chroot');
    await bench.run(['-e', 'buildah', '-o', 'out2', 'build'], { env: { BUILDAH_ISOLATION: 'oci' } });
    expect(lines().join('\n')).toContain('ISOLATION=container');
  });

  it('keeps, enters and removes a build folder', async () => {
    bench.write('state/image', '');
    bench.write('state/status', '1');
    const { stderr } = await bench.run(['-e', 'buildah', '-o', 'out', '-k', 'build']);
    const kept = / -e buildah shell (quern-\S+)$/mu.exec(stderr)?.[1] ?? '';
    expect(stderr).toContain(` -e buildah remove ${kept}\n`);
    expect(lines().filter((line) => line.startsWith('rm'))).toEqual([]);
    expect((await bench.run(['-e', 'buildah', 'shell', kept])).stderr).toContain(
      'those there are: buildah containers',
    );
    bench.write('state/volume', '');
    expect((await bench.run(['-e', 'buildah', 'shell', kept])).status).toBe(0);
    expect(bench.calls().at(-1)).toEqual(expect.arrayContaining(['--terminal', kept, '/bin/bash']));
    expect(lines().filter((line) => line.startsWith('rm'))).toEqual([]);
    const stays = await bench.run(['-e', 'buildah', 'remove', kept]);
    expect(stays.stderr).toContain(`the engine does not remove ${kept}`);
    expect(stays.status).toBe(3);
    expect(bench.calls()).toContainEqual(['rm', kept]);
  });

  it.each(['SIGINT', 'SIGTERM'] as const)('ends all that runs in it after %s', async (signal) => {
    bench.write('state/image', '');
    for (const [program = '', ...words] of shells) {
      bench.write('state/wait', '');
      bench.write('state/pid', '');
      const child = spawn(
        program,
        [...words, bench.path('kit/run.sh'), '-e', 'buildah', '-o', 'out', 'build'],
        {
          cwd: bench.folder,
          env: { PATH: `${bench.path('bin')}:${process.env['PATH'] ?? ''}`, TMPDIR: bench.path('tmp') },
          stdio: 'ignore',
        },
      );
      const ended = new Promise<number | null>((resolve) => child.on('close', resolve));
      const pid = bench.path('state/pid');
      while (readFileSync(pid, 'utf8') === '') await new Promise((next) => setTimeout(next, 20));
      const inner = Number(readFileSync(pid, 'utf8'));
      child.kill(signal);
      expect(await ended).toBe(130);
      const gone = (): boolean => /^\S+ \(.*\) Z /u.test(stateOf(inner)) || stateOf(inner) === '';
      await expect.poll(gone).toBe(true);
      expect(lines().at(-1)).toMatch(/^rm NAME-/u);
      expect(existsSync(bench.path('out'))).toBe(false);
    }
  });
});

function stateOf(pid: number): string {
  try {
    return readFileSync(`/proc/${pid}/stat`, 'utf8');
  } catch {
    return '';
  }
}
