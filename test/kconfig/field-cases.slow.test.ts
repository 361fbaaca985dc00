/**
 * Cases that people who build kernels have met, on real trees: for each the verdicts, the reason, and what the kernel's
 * own program makes of the same configuration. Referee: scripts/kconfig/conf of the tree.
 */
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';

import { afterAll, describe, expect, test, type TestContext } from 'vitest';

import type { ExplainInput } from '../../src/kconfig/circumstances.ts';
import { compose } from '../../src/kconfig/compose.ts';
import { configure } from '../../src/kconfig/configure.ts';
import { readDotConfig } from '../../src/kconfig/dot-config.ts';
import { explainOption } from '../../src/kconfig/explain-option.ts';
import { explanationText } from '../../src/kconfig/explanation-text.ts';
import { parseTree } from '../../src/kconfig/parse-tree.ts';
import { fragmentRequests, type Request } from '../../src/kconfig/requests.ts';
import { judgeRequests, type Verdict } from '../../src/kconfig/verdict.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { runConf } from '../oracle/conf-run.ts';
import { kconfigProgram, type KconfigProgram, type KernelArchitecture } from '../oracle/kconfig-program.ts';
import { kernelTree, type KernelSeries } from '../oracle/kernel-trees.ts';
import { filesBelow } from '../oracle/our-kconfig.ts';
import { treeOnDisk } from '../../src/source/tree-on-disk.ts';
import { checkVerdict } from './check-verdict.ts';
import { asked } from './judge-small.ts';

const programs = new Map<string, KconfigProgram>();
afterAll(() => Promise.all([...programs.values()].map((program) => program.close())));

async function programOf(
  context: TestContext,
  series: KernelSeries,
  arch: KernelArchitecture = 'x86_64',
): Promise<KconfigProgram> {
  const known = programs.get(`${series} ${arch}`);
  if (known) return known;
  const program = await orSkip(
    context,
    kernelTree(series).then((tree) => kconfigProgram(tree, arch)),
  );
  programs.set(`${series} ${arch}`, program);
  return program;
}

/** Another environment than this machine's: what some probes answer there, and variables of its Makefile. */
interface Elsewhere {
  readonly probes?: (command: string, answer: string) => string;
  readonly variables?: Readonly<Record<string, string>>;
}

interface Judged {
  readonly verdicts: readonly Verdict[];
  readonly input: ExplainInput;
  of(option: string): Verdict;
}

/** Judges requests over a base, and holds every verdict against the kernel's own result. */
async function judged(
  program: KconfigProgram,
  requests: readonly Request[],
  { base, elsewhere = {} }: { readonly base?: string; readonly elsewhere?: Elsewhere } = {},
): Promise<Judged> {
  const { folder } = program.tree;
  const probes = new Map(
    [...program.probes].map(([command, answer]) => [command, elsewhere.probes?.(command, answer) ?? answer]),
  );
  const environment = { ...program.environment, ...elsewhere.variables };
  const files = treeOnDisk(folder);
  const { model } = parseTree({ files, probes: { answer: (command) => probes.get(command) }, environment });
  if (!model) throw new Error('the tree has errors');
  const composed = compose(
    { file: 'base.config', text: base ?? (await program.make('defconfig')) },
    requests,
  );
  const { evaluation } = configure(model, 'olddefconfig', composed.text);
  const kernel = readDotConfig(await resolve(program, composed.text, probes, environment));
  const input: ExplainInput = {
    evaluation,
    requests,
    originOf: composed.originOf,
    tree: {
      files,
      probes: { answer: (command) => probes.get(command) },
      environment,
      paths: () => files.paths(),
    },
  };
  const verdicts = judgeRequests(input);
  for (const verdict of verdicts) checkVerdict(evaluation, verdict, kernel.get(verdict.option));
  return {
    verdicts,
    input,
    of: (option) => {
      const found = verdicts.find((one) => one.option === option);
      if (!found) throw new Error(`nobody asked for ${option}`);
      return found;
    },
  };
}

/** The kernel's own program, with these answers to its probes. */
async function resolve(
  program: KconfigProgram,
  config: string,
  probes: ReadonlyMap<string, string>,
  environment: Readonly<Record<string, string>>,
): Promise<string> {
  const folder = await mkdtemp(path.join(tmpdir(), 'quern-field-'));
  try {
    const recording = path.join(folder, 'probes');
    await writeFile(
      recording,
      [...probes].map(([command, answer]) => `${command}\0${answer}\0`).join(''),
      'latin1',
    );
    const result = await runConf(program, { mode: 'olddefconfig', config }, folder, {
      ...environment,
      REFEREE_REPLAY: recording,
    });
    expect(result.status, result.stderr).toBe(0);
    return result.config;
  } finally {
    await rm(folder, { recursive: true });
  }
}

const tables = ['IP_NF_IPTABLES=y', 'IP_NF_FILTER=y', 'IP_NF_NAT=y', 'IP_NF_MANGLE=y'];

describe('legacy tables of the packet filter', () => {
  test('kept on 6.12', async (context) => {
    const { verdicts } = await judged(await programOf(context, '6.12'), asked(...tables));
    expect(verdicts.map(({ verdict }) => verdict)).toEqual(['kept', 'kept', 'kept', 'kept']);
  });

  test('lost where they have an option of their own, which the reason names: with it they are kept', async (context) => {
    const program = await programOf(context, '7.3');
    const { of } = await judged(program, asked(...tables));
    expect(of('IP_NF_IPTABLES').verdict).toBe('kept');
    for (const option of ['IP_NF_FILTER', 'IP_NF_NAT', 'IP_NF_MANGLE']) {
      expect(of(option)).toMatchObject({ verdict: 'dropped', reason: { kind: 'dependency' } });
      expect(of(option).message).toMatch(
        /Ask for NETFILTER_XTABLES_LEGACY=y and IP_NF_IPTABLES_LEGACY=y too\.$/u,
      );
    }
    const repaired = ['NETFILTER_XTABLES_LEGACY=y', 'IP_NF_IPTABLES_LEGACY=y', ...tables];
    expect((await judged(program, asked(...repaired))).verdicts.map(({ verdict }) => verdict)).toEqual(
      repaired.map(() => 'kept'),
    );
  });

  test('impossible with PREEMPT_RT, and that is the reason', async (context) => {
    const program = await programOf(context, '7.3');
    const { of, input } = await judged(program, asked('EXPERT=y', 'PREEMPT_RT=y', ...tables));
    expect(of('PREEMPT_RT').verdict).toBe('kept');
    expect(of('IP_NF_FILTER').message).toContain(
      'otter.config:2 asks for PREEMPT_RT=`y`: change that to PREEMPT_RT=n.',
    );
    expect(explanationText(explainOption(input, 'IP_NF_FILTER'))).toMatch(
      /^dropped IP_NF_FILTER y → n\n[^]*needs NETFILTER_XTABLES_LEGACY[^]*needs PREEMPT_RT to be off/u,
    );
  });
});

test.for(['6.1', '6.12', '7.3'] as const)('one option lacks one other: %s', async (series, context) => {
  const program = await programOf(context, series);
  const { of } = await judged(program, asked('NETFILTER_ADVANCED=n', 'NETFILTER_XT_MATCH_OWNER=y'));
  expect(of('NETFILTER_XT_MATCH_OWNER')).toMatchObject({
    verdict: 'dropped',
    reason: {
      kind: 'dependency',
      terms: [{ option: 'NETFILTER_ADVANCED', value: 'n', cause: { kind: 'asked' } }],
    },
  });
  const repaired = await judged(program, asked('NETFILTER_ADVANCED=y', 'NETFILTER_XT_MATCH_OWNER=y'));
  expect(repaired.verdicts.every(({ verdict }) => verdict === 'kept')).toBe(true);
});

test('a defconfig asks for options that its own resolution drops: all are found, each with a reason', async (context) => {
  const program = await programOf(context, '7.3', 'arm64');
  const file = 'arch/arm64/configs/defconfig';
  const text = filesBelow(program.tree.folder).read(file) ?? '';
  const { verdicts } = await judged(program, fragmentRequests(text, file).value, { base: '' });
  const lost = verdicts.filter(({ verdict }) => verdict !== 'kept');
  expect(verdicts.length).toBeGreaterThan(1000);
  expect(lost.length).toBeGreaterThan(0);
  for (const { option, reason, message } of lost) {
    expect(reason.kind, `${option}: ${message}`).not.toBe('not-taken');
  }
});

describe('options that come and go', () => {
  test('CIO2_BRIDGE is kept on 6.1 with what it needs, and gone later', async (context) => {
    const program = await programOf(context, '6.1');
    let requests: readonly string[] = ['CIO2_BRIDGE=y'];
    let verdict = (await judged(program, asked(...requests))).of('CIO2_BRIDGE');
    expect(verdict).toMatchObject({ verdict: 'dropped', reason: { kind: 'dependency' } });
    // What the message asks for is enough, in a round or two: each new request may need something itself.
    for (let round = 0; round < 4 && verdict.verdict !== 'kept'; round += 1) {
      const { verdicts } = await judged(program, asked(...requests));
      const wishes = verdicts.flatMap(({ message }) => message.match(/\b[A-Z0-9_]+=[ymn]\b/gu) ?? []);
      requests = [...new Set([...wishes, ...requests])];
      verdict = (await judged(program, asked(...requests))).of('CIO2_BRIDGE');
    }
    expect(verdict.verdict, requests.join(' ')).toBe('kept');
    const later = await judged(await programOf(context, '6.12'), asked('CIO2_BRIDGE=y'));
    expect(later.of('CIO2_BRIDGE')).toMatchObject({
      verdict: 'unknown',
      reason: { kind: 'other-version', releases: ['6.1'] },
    });
  });

  test('EMBEDDED brings EXPERT along on 6.1; later it is gone, and EXPERT stays off', async (context) => {
    const old = await judged(await programOf(context, '6.1'), asked('EMBEDDED=y', 'EXPERT=n'));
    expect(old.of('EMBEDDED').verdict).toBe('kept');
    expect(old.of('EXPERT')).toMatchObject({
      verdict: 'raised',
      reason: { kind: 'selected', by: [{ option: 'EMBEDDED' }] },
    });
    const later = await judged(await programOf(context, '6.12'), asked('EMBEDDED=y', 'EXPERT=n'));
    expect(later.of('EMBEDDED')).toMatchObject({
      verdict: 'unknown',
      reason: { kind: 'other-version', releases: ['5.10', '6.1'] },
    });
    expect(later.of('EXPERT').verdict).toBe('kept');
  });

  test('removed names are told from mistyped ones, with the releases that have them', async (context) => {
    const { verdicts } = await judged(
      await programOf(context, '6.12'),
      asked(
        'PAGE_POISONING_ZERO=y',
        'MEMCG_SWAP=y',
        'SECURITY_SELINUX_DISABLE=y',
        'DEVKMEM=y',
        'IXGB=m',
        'IP_NF_TARGET_CLUSTERIP=m',
      ),
    );
    const releases = verdicts.map(({ reason }) => (reason.kind === 'other-version' ? reason.releases : []));
    const [until510, until61] = [['5.10'], ['5.10', '6.1']];
    expect(releases).toEqual([until510, until510, until61, until510, until61, until61]);
  });

  test('what replaced an option is named', async (context) => {
    const program = await programOf(context, '6.12');
    const { of } = await judged(program, asked('PAGE_TABLE_ISOLATION=y', 'GCC_PLUGIN_RANDSTRUCT=y'));
    expect(of('PAGE_TABLE_ISOLATION')).toMatchObject({
      reason: {
        renamed: { option: 'MITIGATION_PAGE_TABLE_ISOLATION', evidence: 'same-prompt' },
        renamedHere: true,
      },
    });
    // It is set by what replaced it (RANDSTRUCT_FULL and its like), once there are headers for compiler plugins.
    expect(of('GCC_PLUGIN_RANDSTRUCT')).toMatchObject({ verdict: 'dropped', reason: { kind: 'no-prompt' } });
    const plugins = await judged(program, asked('GCC_PLUGIN_RANDSTRUCT=y'), {
      elsewhere: { probes: (command, answer) => (command.includes('plugin-version.h') ? 'y\n' : answer) },
    });
    expect(plugins.of('GCC_PLUGIN_RANDSTRUCT').message).toMatch(
      /RANDSTRUCT_NONE goes off .*ask for RANDSTRUCT_FULL=y/u,
    );
  });
});

test('slips of the hand', async (context) => {
  const program = await programOf(context, '6.1');
  const { of } = await judged(
    program,
    asked('CONFIG_IPC_NS=y', 'IPC_N=y', 'XFRM=m', 'MODULE_COMPRESS_NONE=y', 'MODULE_COMPRESS_XZ=y'),
  );
  expect(of('CONFIG_IPC_NS')).toMatchObject({
    verdict: 'unknown',
    reason: { kind: 'doubled-prefix', instead: 'IPC_NS' },
  });
  expect(of('IPC_N')).toMatchObject({
    verdict: 'unknown',
    reason: { kind: 'misspelt', nearest: ['IPC_NS'] },
  });
  expect(of('XFRM')).toMatchObject({
    verdict: 'invalid',
    reason: { kind: 'wrong-type', type: 'bool', instead: 'y' },
  });
  expect(of('MODULE_COMPRESS_NONE')).toMatchObject({
    verdict: 'dropped',
    reason: { kind: 'choice-lost', winner: 'MODULE_COMPRESS_XZ', origin: { line: 5 } },
  });
  const line = fragmentRequests('#CONFIG_IPC_NS is not set\n', 'otter.config');
  expect(line.diagnostics[0]?.help).toContain('# CONFIG_IPC_NS is not set');
});

describe('the environment decides', () => {
  test('a compiler plugin without its headers: the package is named', async (context) => {
    const { of } = await judged(
      await programOf(context, '6.12'),
      asked('GCC_PLUGIN_STRUCTLEAK=y', 'GCC_PLUGINS=y'),
      {
        elsewhere: { probes: (command, answer) => (command.includes('plugin-version.h') ? 'n\n' : answer) },
      },
    );
    for (const option of ['GCC_PLUGINS', 'GCC_PLUGIN_STRUCTLEAK']) {
      expect(of(option).verdict).toBe('dropped');
      expect(of(option).message).toMatch(/install the headers for compiler plugins, `gcc-\d+-plugin-dev`/u);
    }
  });

  test('a protection that only clang has: another compiler, not another option', async (context) => {
    const program = await programOf(context, '6.12');
    const { of } = await judged(program, asked('CFI_CLANG=y'));
    expect(of('CFI_CLANG')).toMatchObject({
      verdict: 'dropped',
      reason: {
        kind: 'probe',
        probes: [{ written: '$(cc-option,-fsanitize=kcfi)', remedy: { toolchain: 'clang' } }],
      },
    });
    expect(of('CFI_CLANG').message).not.toContain('Ask for');
    const later = await judged(await programOf(context, '7.3'), asked('CFI_CLANG=y'));
    expect(later.of('CFI_CLANG')).toMatchObject({ reason: { kind: 'transitional', heirs: ['CFI'] } });
  });

  const traced = ['BPF_SYSCALL=y', 'DEBUG_INFO_DWARF4=y', 'DEBUG_INFO_BTF=y'];
  const withPahole = (version: number): Elsewhere => ({
    probes: (command, answer) => (command.includes('pahole-version.sh') ? `${version}\n` : answer),
    variables: { PAHOLE_VERSION: String(version) },
  });

  test.for(['6.12', '7.3'] as const)('one option, four reasons: %s', async (series, context) => {
    const program = await programOf(context, series);
    const btf = async (version: number, ...requests: readonly string[]): Promise<Verdict> =>
      (await judged(program, asked(...requests), { elsewhere: withPahole(version) })).of('DEBUG_INFO_BTF');
    const none = await btf(0, ...traced);
    expect(none).toMatchObject({
      verdict: 'dropped',
      reason: { kind: 'probe', terms: [{ option: 'PAHOLE_VERSION', value: '0' }] },
    });
    expect(none.message).toContain('install pahole, or a newer version of it');
    const old = await btf(110, ...traced);
    expect(old).toMatchObject({ verdict: 'dropped', reason: { kind: 'probe', terms: [{ value: '110' }] } });
    expect(await btf(125, ...traced)).toMatchObject({ verdict: 'kept' });
    expect(await btf(125, 'DEBUG_INFO_DWARF4=y', 'BPF_SYSCALL=n', 'DEBUG_INFO_BTF=y')).toMatchObject({
      verdict: 'dropped',
      reason: { kind: 'dependency', terms: [{ option: 'BPF_SYSCALL', needs: 'y' }] },
    });
    expect(await btf(125, ...traced, 'DEBUG_INFO_REDUCED=y')).toMatchObject({
      verdict: 'dropped',
      reason: { kind: 'dependency', terms: [{ option: 'DEBUG_INFO_REDUCED', needs: 'n' }] },
    });
  });
});

test('of two fragments the last one wins, and both origins are told', async (context) => {
  const fragments = ['CONFIG_E1000=m\n', '# network\nCONFIG_E1000=y\n'].flatMap(
    (text, index) => fragmentRequests(text, `${index === 0 ? 'lab' : 'station'}.config`).value,
  );
  const { of } = await judged(await programOf(context, '6.12'), fragments);
  expect(of('E1000')).toMatchObject({
    verdict: 'kept',
    requested: 'y',
    origin: { file: 'station.config', line: 2 },
    overridden: [{ requested: 'm', origin: { file: 'lab.config', line: 1 } }],
  });
  expect(of('E1000').message).toContain(
    '`m` (lab.config:1) before; station.config:2 comes later and counts.',
  );
});
