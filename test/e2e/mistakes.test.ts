/** Mistakes that a person makes, each ending in a clear message and the right exit code. */
import { spawnSync } from 'node:child_process';
import { once } from 'node:events';
import {
  chmodSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { needEngine } from '../setup/engine.ts';
import { makeWorkspace, type Ran, type Workspace } from './workspace.ts';

const minutes = 60_000;

needEngine();
let work: Workspace;
beforeEach(() => {
  work = makeWorkspace();
});
afterEach(() => work.remove());

const expectClear = (ran: Ran, status: number, ...words: readonly (string | RegExp)[]): void => {
  for (const word of words) expect(ran.stderr).toMatch(word);
  expect(ran.stderr).not.toMatch(/^ +at /mu);
  expect(ran.status).toBe(status);
};

/** A PATH that has everything but a container engine. */
function pathWithoutEngine(): string {
  const bin = work.path('bin');
  mkdirSync(bin);
  for (const name of ['sh', 'tar', 'xz', 'sha256sum', 'cat', 'env']) {
    const found = spawnSync('sh', ['-c', `command -v ${name}`], { encoding: 'utf8' }).stdout.trim();
    symlinkSync(found, work.path('bin', name));
  }
  return bin;
}

describe('a machine', () => {
  it('without a container engine', () => {
    expectClear(
      work.quern(['pin', work.spec], { PATH: pathWithoutEngine() }),
      3,
      /no container engine is installed/u,
      /apt install/u,
    );
  });

  it('whose engine this user may not use', () => {
    const bin = pathWithoutEngine();
    writeFileSync(
      work.path('bin', 'docker'),
      '#!/bin/sh\necho "permission denied while trying to connect to the Docker daemon socket" >&2\nexit 1\n',
    );
    chmodSync(work.path('bin', 'docker'), 0o755);
    expectClear(work.quern(['pin', work.spec], { PATH: bin }), 3, /may not use/u, /group/u);
  });

  it('whose engine does not run', () => {
    const ran = work.quern(['pin', work.spec, '--engine', 'docker'], {
      DOCKER_HOST: `unix://${work.path('no.sock')}`,
    });
    expectClear(ran, 3, /does not answer/u, /DOCKER_HOST/u);
  });

  it('whose disk is full, where the store is', () => {
    const small = work.path('small');
    mkdirSync(small);
    const mounted = spawnSync('mount', ['-t', 'tmpfs', '-o', 'size=2m', 'tmpfs', small]);
    expect(mounted.status).toBe(0);
    try {
      expectClear(
        work.quern(['pin', work.spec], { QUERN_STORE: `${small}/store` }),
        3,
        /no (?:space|room)/iu,
      );
      // whole files may stay; nothing half-written does
      const left = readdirSync(`${small}/store`, { recursive: true, encoding: 'utf8' });
      expect(left.filter((name) => name.includes('incoming'))).toEqual([]);
    } finally {
      spawnSync('umount', [small]);
    }
  });
});

describe('a spec', () => {
  it('that is not there, or not one', () => {
    expectClear(work.quern(['check', 'guage-station.yaml']), 2, /no such file/u);
    expectClear(work.quern(['check', 'patches']), 2, /patches/u);
  });

  it('with several mistakes is told of all of them in one go', () => {
    work.change(work.spec, "version: '6.1'", 'version: 6.10');
    work.change(work.spec, 'base: tinyconfig', 'base: tinyconfg');
    work.change(work.spec, 'localversion', 'localverison');
    expectClear(
      work.quern(['check', work.spec]),
      2,
      /gauge-station\.yaml:5:12: error/u,
      /quotes/u,
      /tinyconfig/u,
      /localversion/u,
    );
  });

  it('that names a file which is not there, or lies elsewhere', () => {
    rmSync(work.path('serial-console.config'));
    symlinkSync('/etc/passwd', work.path('serial-console.config'));
    work.change(work.spec, '0001-gauge-banner.patch', '0002-no-such.patch');
    expectClear(work.quern(['check', work.spec]), 2, /0002-no-such\.patch/u, /outside/u);
  });

  it('that asks for a version which the archive does not have', () => {
    work.change(work.spec, "'6.1'", "'6.1.1'");
    expectClear(work.quern(['pin', work.spec]), 2, /linux-source-6\.1/u, /6\.1\.1/u);
  });

  it(
    'whose requests are not kept, and whose base names key files that the source lacks, is told before any build',
    () => {
      work.change(work.spec, 'CRC8: m', 'CRC8: m\n    CRC_7: y\n    KALLSYMS_ALL: y\n    XFRM: y');
      writeFileSync(
        work.path('station.config'),
        'CONFIG_64BIT=y\nCONFIG_KEYS=y\nCONFIG_ASYMMETRIC_KEY_TYPE=y\nCONFIG_ASYMMETRIC_PUBLIC_KEY_SUBTYPE=y\n' +
          'CONFIG_X509_CERTIFICATE_PARSER=y\nCONFIG_CRYPTO=y\nCONFIG_CRYPTO_RSA=y\nCONFIG_SYSTEM_TRUSTED_KEYRING=y\n' +
          'CONFIG_SYSTEM_TRUSTED_KEYS="debian/certs/gauge.pem"\n',
      );
      work.change(work.spec, 'base: tinyconfig', 'base: station.config');
      const ran = work.quern(['pin', work.spec]);
      expectClear(
        ran,
        1,
        /unknown CRC_7/u,
        /CRC7/u,
        /dropped XFRM/u,
        /debian\/certs\/gauge\.pem/u,
        /SYSTEM_TRUSTED_KEYS: ""/u,
      );
      // the inputs stay pinned, and the next attempt asks again
      expect(readFileSync(work.path('gauge-station.lock.json'), 'utf8')).not.toContain('"answers"');
    },
    15 * minutes,
  );

  it(
    'whose patch does not apply is told which, where and at which hunk',
    () => {
      work.change('patches/0001-gauge-banner.patch', ' \tpage_address_init();', ' \tpage_address_begin();');
      expectClear(
        work.quern(['pin', work.spec]),
        4,
        /0001-gauge-banner\.patch` fits only with fuzz 2: hunk 1 of 1/u,
        /page_address_begin\(\); +≠ +page_address_init\(\);/u,
        /init\/main\.c/u,
      );
    },
    15 * minutes,
  );
});

describe('Ctrl-C', () => {
  it(
    'stops the work, removes what it was about to make, and answers 130',
    async () => {
      work.change(work.spec, 'name: gauge-station', 'name: interrupted');
      const child = work.start(['pin', work.spec]);
      let told = '';
      child.stderr?.on('data', (chunk: Buffer) => (told += chunk.toString()));
      const asking = new Promise<void>((resolve) => {
        const watch = setInterval(() => {
          if (!/asking the environment/u.test(told) && child.exitCode === null) return;
          clearInterval(watch);
          resolve();
        }, 50);
      });
      await asking;
      const mine = (what: string): string =>
        spawnSync('docker', [what, 'ls', '-q', '--filter', 'name=quern-interrupted'], {
          env: work.env,
          encoding: 'utf8',
        }).stdout;
      await expect.poll(() => mine('volume'), { timeout: minutes }).not.toBe('');
      child.kill('SIGINT');
      const [code] = (await once(child, 'exit')) as [number];
      expect(told).toMatch(/interrupted/iu);
      expect(code).toBe(130);
      expect(mine('container')).toBe('');
      await expect.poll(() => mine('volume'), { timeout: minutes }).toBe('');
      expect(existsSync(work.path('gauge-station.lock.json'))).toBe(true);
    },
    15 * minutes,
  );
});
