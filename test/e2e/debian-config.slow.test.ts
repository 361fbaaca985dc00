/**
 * What a practitioner brings: the tarball that Debian's kernel is made of, fetched by its digest; Debian's whole patch stack
 * as a quilt series; and the configuration of Debian's cloud kernel out of `linux-config-6.1`. Cut down so that it fits:
 * modules are not built, there is no debug information, and much is off. One build, and a boot.
 */
import { createHash } from 'node:crypto';
import { cpSync, readFileSync, writeFileSync } from 'node:fs';
import { basename } from 'node:path';

import { afterAll, beforeAll, expect, it } from 'vitest';

import { serveFiles, type FileServer } from '../host/file-server.ts';
import { debianKernelPatches } from '../oracle/debian-kernel-patches.ts';
import { needEngine } from '../setup/engine.ts';
import { ended, makeWorkspace, type Ran, type Workspace } from './workspace.ts';

needEngine();

const minutes = 60_000;
const site = 'https://kernels.otter-bank.example';

/** What a gauge in a cloud can do without. */
const without = `
XEN HYPERVISOR_GUEST SECURITY_SELINUX SECURITY_APPARMOR SECURITY_TOMOYO SECURITY_SMACK SECURITY_YAMA
SECURITY_LANDLOCK BPF_LSM FTRACE PROFILING KPROBES NUMA HIBERNATION SUSPEND EFI KEXEC KEXEC_FILE
CRASH_DUMP IOMMU_SUPPORT AUDIT SOUND USB_SUPPORT INPUT_MOUSE DRM FB AGP MEDIA_SUPPORT WIRELESS BT
NFC NETFILTER NET_SCHED MPTCP TLS BPF_STREAM_PARSER DCB SCSI ATA MD FUSION I2C SPI GPIOLIB HWMON
WATCHDOG EDAC X86_MCE IO_URING BTRFS_FS XFS_FS EXT4_FS FUSE_FS OVERLAY_FS QUOTA FS_ENCRYPTION
FS_VERITY DNOTIFY FANOTIFY SWAP KSM TRANSPARENT_HUGEPAGE HUGETLBFS MEMORY_FAILURE CMA USERFAULTFD
CGROUPS SCHED_AUTOGROUP CHECKPOINT_RESTORE MEMORY_HOTPLUG IPV6 IP_MULTICAST IP_ADVANCED_ROUTER
INFINIBAND STAGING X86_PLATFORM_DEVICES INTEGRITY PCCARD HOTPLUG_PCI RTC_CLASS
`;

let work: Workspace;
let server: FileServer;
let env: Readonly<Record<string, string>>;
beforeAll(async () => {
  const { archive, patches } = await debianKernelPatches();
  const file = basename(archive);
  const content = readFileSync(archive);
  server = await serveFiles();
  server.on(`/${file}`, { body: content });
  env = { QUERN_MIRRORS: `${site}=${server.url}` };
  work = makeWorkspace();
  cpSync(patches, work.path('debian'), { recursive: true });
  const off = without
    .trim()
    .split(/\s+/u)
    .map((option) => `# CONFIG_${option} is not set\n`);
  writeFileSync(work.path('cut-down.config'), off.join(''));
  const version = /_(\d+\.\d+\.\d+)/u.exec(file)?.[1] ?? '';
  writeFileSync(
    work.path('river.yaml'),
    `quern: 1
name: river-cloud
kernel:
  version: '${version}'
  source:
    url: ${site}/${file}
    sha256: ${createHash('sha256').update(content).digest('hex')}
arch: x86_64
config:
  base: { debian: linux-config-6.1, config: amd64_none_cloud-amd64 }
  fragments: [cut-down.config]
  set:
    DEBUG_INFO_NONE: y
    SYSTEM_TRUSTED_KEYS: ''
    MODULE_SIG_KEY: ''
    DEFAULT_HOSTNAME: otter-bank
patches: [{ series: debian/series }]
environment: { debian: bookworm }
localversion: -river
build: { user: gauge, host: otter-bank, epoch: 2026-01-01T00:00:00Z }
outputs: [image]
`,
  );
}, 20 * minutes);
afterAll(async () => {
  work.remove();
  await server.close();
});

/** Without blocking this process, in which the server is. */
const quern = (...words: readonly string[]): Promise<Ran> => ended(work.start(words, env));

it(
  'is built with all of its patches, after the configuration that was worked out',
  async () => {
    const built = await quern('build', 'river.yaml', '-o', 'out');
    expect(built.stderr).not.toContain('error[');
    expect(built.status).toBe(0);
    const patches = readFileSync(work.path('debian/series'), 'utf8').match(/^[^#\s]\S*/gmu) ?? [];
    const lock = JSON.parse(readFileSync(work.path('river.lock.json'), 'utf8')) as {
      readonly inputs: { readonly patches: readonly unknown[] };
    };
    expect(lock.inputs.patches).toHaveLength(patches.length);
    expect(patches.length).toBeGreaterThan(100);
    const config = readFileSync(work.path('out/kernel.config'), 'latin1');
    expect(config).toContain('CONFIG_VIRTIO_NET=');
    expect(config).toContain('CONFIG_DEFAULT_HOSTNAME="otter-bank"\n');
    expect((await quern('verify', 'out')).status).toBe(0);
  },
  100 * minutes,
);

it(
  'boots',
  async () => {
    const booted = await quern('boot', 'out');
    expect(booted.stderr).not.toContain('error[');
    expect(booted.status).toBe(0);
  },
  10 * minutes,
);
