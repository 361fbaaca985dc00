import { execFileSync, spawnSync } from 'node:child_process';
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { readKitTemplates } from '../../src/commands/kit-templates.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import { renderProbeScript } from '../../src/kit/probe-kit.ts';
import { createPack, type Pack } from '../../src/kconfig/pack.ts';
import { expansionOf } from '../../src/kconfig/probes.ts';
import { askHost } from '../../src/source/probe-host.ts';
import { probeTar } from '../../src/source/probe-tar.ts';
import { makeWorld, type World } from '../container/world.ts';

let world: World;
beforeEach(() => {
  world = makeWorld();
});
afterEach(() => world.remove());

const templates = await readKitTemplates();
const file = (text: string): { content: Uint8Array; executable: boolean } => ({
  content: Buffer.from(text, 'latin1'),
  executable: text.startsWith('#!'),
});
const pack: Pack = createPack('0'.repeat(64), [
  ['scripts/weir.sh', file('#!/bin/sh\necho "weir $1 $LEVEL"\n')],
  ['scripts/no-program.sh', file('echo x\n')],
  ['Kconfig', file('mainmenu "x"\n')],
]);

async function ask(
  commands: readonly string[],
  variables: Readonly<Record<string, string>> = {},
  jobs = 3,
): Promise<ReadonlyMap<string, string>> {
  const script = (sha256: string): string => renderProbeScript(templates, sha256);
  return askHost(world.host, pack, { commands, variables }, { script, jobs });
}

/** What the kernel's program gets (do_shell in scripts/kconfig/preprocess.c): popen runs `sh -c`. */
function popen(command: string, folder: string): string {
  const { stdout } = spawnSync('/bin/sh', ['-c', command, 'sh'], {
    cwd: folder,
    env: { PATH: world.host.env['PATH'], LANG: 'C' },
    encoding: 'latin1',
    stdio: ['ignore', 'pipe', 'ignore'],
  });
  return expansionOf(stdout);
}

describe('askHost', () => {
  const commands = [
    'echo plain',
    `printf '%s' "it's \\"quoted\\" \\$HOME"`,
    'echo "$0" "$#"',
    'echo a; echo; echo b; echo; echo',
    'printf "\\304\\377\\n"',
    'cat',
    'exit 3',
    'echo lost >&2; echo kept',
    '{ test -e Kconfig; } >/dev/null 2>&1 && echo "y" || echo "n"',
    '{ ./scripts/no-program.sh; } >/dev/null 2>&1 && echo "y" || echo "n"',
    'trap "rm -rf .tmp_$$" EXIT; mkdir .tmp_$$; ls -d .tmp_* | wc -l >/dev/null; echo done',
    'head -c 5000 /dev/zero | tr "\\0" x',
    'yes | head -c 100000',
    'no-such-program',
    'unclosed "quote',
    'echo "${LEVEL-none}" "${JOBS-none}" "${LC_ALL-none}"',
    '\t echo  blanks\\\n   inside ',
    'echo *',
  ];

  it('makes the folder for temporary files that a question may want', async () => {
    // as scripts/tools-support-relr.sh begins, in an environment that names a folder of its own
    const tmp = join(world.folder, 'of its own', 'tmp');
    const host = { ...world.host, env: { ...world.host.env, TMPDIR: tmp } };
    const script = (sha256: string): string => renderProbeScript(templates, sha256);
    const command = 'tmp_file=$(mktemp) && rm "$tmp_file" && echo "${tmp_file%/*}"';
    const answers = await askHost(host, pack, { commands: [command], variables: {} }, { script, jobs: 1 });
    expect(answers.get(command)).toBe(tmp);
  });

  it('gives the answers that the program of the kernel gets', { timeout: 120_000 }, async () => {
    const folder = join(world.folder, 'tree');
    execFileSync('mkdir', ['-p', join(folder, 'scripts')]);
    for (const [path, { content, executable }] of pack.files) {
      writeFileSync(join(folder, path), content, { mode: executable ? 0o755 : 0o644 });
    }
    const answers = await ask(commands);
    for (const command of commands) {
      expect([command, answers.get(command)]).toEqual([command, popen(command, folder)]);
    }
  });

  it('runs in the tree, with the variables of make, and with its programs', async () => {
    const variables = { LEVEL: `3' "m"\n$(x) \xe4`, CC: 'gcc' };
    const answers = await ask(['./scripts/weir.sh otter', 'printf %s "$LEVEL$CC"'], variables);
    expect([...answers.values()]).toEqual([`weir otter 3' "m" $(x) \xe4`, `3' "m" $(x) \xe4gcc`]);
  });

  it('runs several at once, and keeps them apart', { timeout: 120_000 }, async () => {
    const many = Array.from({ length: 15 }, (_, nth) => `sleep 0.0${nth % 5}; echo ${nth}`);
    for (const jobs of [1, 7]) {
      const answers = await ask(many, {}, jobs);
      expect([...answers.values()]).toEqual(many.map((_, nth) => String(nth)));
    }
  });

  it('leaves nothing behind', async () => {
    const before = readdirSync(tmpdir()).filter((name) => name.startsWith('quern-probes-'));
    await ask(['mkdir left; echo x >left/behind']);
    world.interrupt(new Error('Ctrl-C'));
    await expect(ask(['sleep 60'])).rejects.toThrow('Ctrl-C');
    expect(readdirSync(tmpdir()).filter((name) => name.startsWith('quern-probes-'))).toEqual(before);
  });

  it('says what this machine lacks', async () => {
    world.program('tar', 'echo "tar: no" >&2; exit 1');
    const error: unknown = await ask(['echo x']).catch((reason: unknown) => reason);
    if (!(error instanceof Failure)) throw new Error('no failure');
    expect(error.diagnostics).toMatchObject([{ code: 'source/probes-failed', exit: 3 }]);
    expect(error.diagnostics[0]?.notes.join()).toContain('cannot be unpacked');
  });

  it('takes no other questions than those that were put', async () => {
    const script = (): string => renderProbeScript(templates, 'f'.repeat(64));
    await expect(
      askHost(world.host, pack, { commands: ['echo x'], variables: {} }, { script, jobs: 1 }),
    ).rejects.toThrow(Failure);
  });
});

describe('probeTar', () => {
  it('is the same for the same questions, and GNU tar reads it', async () => {
    const questions = { commands: ['echo x'], variables: { CC: 'gcc' } };
    const tar = await probeTar(pack, questions);
    expect(await probeTar(pack, questions)).toEqual(tar);
    writeFileSync(join(world.folder, 'p.tar'), tar);
    const listing = execFileSync('tar', ['-tvf', join(world.folder, 'p.tar'), '--full-time', '--utc'], {
      encoding: 'utf8',
    });
    expect(listing.split('\n').map((line) => line.replace(/ +/g, ' '))).toEqual([
      '-rw-r--r-- 0/0 13 1970-01-01 00:00:00 tree/Kconfig',
      '-rw-r--r-- 0/0 7 1970-01-01 00:00:00 tree/scripts/no-program.sh',
      '-rwxr-xr-x 0/0 32 1970-01-01 00:00:00 tree/scripts/weir.sh',
      '-rw-r--r-- 0/0 19 1970-01-01 00:00:00 variables',
      '-rw-r--r-- 0/0 6 1970-01-01 00:00:00 questions/00001',
      '',
    ]);
    expect(readFileSync(join(world.folder, 'p.tar')).length % 512).toBe(0);
  });
});
