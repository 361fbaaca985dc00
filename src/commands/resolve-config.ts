import type { EngineName } from '../container/engine-names.ts';
import { findEngine, type Engine } from '../container/engine.ts';
import { checkRoom } from '../container/preflight.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes, exitOf, type Diagnostic } from '../diagnostics/diagnostic.ts';
import { makeWords, toolchainPrograms } from '../environment/toolchain.ts';
import type { Host } from '../host/host.ts';
import { encodeLatin1 } from '../kconfig/latin1.ts';
import type { Verdict } from '../kconfig/verdict.ts';
import { diskKilobytes } from '../kit/estimate.ts';
import { fetchInputs } from '../source/fetch-inputs.ts';
import type { Answers, Inputs } from '../spec/lock.ts';
import { adviseVersion } from './advise-version.ts';
import { askingPack, keptTree, type Ask } from './answer-tree.ts';
import { askInContainer } from './ask-in-container.ts';
import { examineToolchain } from './examine-toolchain.ts';
import { explainVerdicts } from './explain-verdicts.ts';
import { alteredAnswers, followingAnswers } from './following-answers.ts';
import { withBase } from './given-base.ts';
import type { OpenSpec } from './open-spec.ts';
import type { Asked } from './requests.ts';
import type { KitPatches } from '../kit/patches.ts';
import { patchedPack, type PatchedPack } from './source-pack.ts';
import { locateFor, type LocalFiles } from './spec-files.ts';
import { configureOn } from './spec-tree.ts';
import { askNobody } from './tree-answers.ts';
import { knownEnvironment, minimumsOf } from './tool-minimums.ts';

export interface Resolved {
  readonly answers: Answers;
  /** What it was made on. */
  readonly pack: PatchedPack;
  /** The resolved `.config`. */
  readonly config: Uint8Array;
  readonly verdicts: readonly Verdict[];
  readonly patches: KitPatches;
  /** The spec's, with the base among them. */
  readonly files: LocalFiles;
  readonly asked: Asked;
  readonly diagnostics: readonly Diagnostic[];
}

export interface Pinned {
  readonly inputs: Inputs;
  /** Of a lock that is whole: the configuration must come out as it says. */
  readonly answers?: Answers | undefined;
  /** Of the lock before this one, when source, patches and packages are still the same: what was asked then. */
  readonly known?: Pick<Answers, 'toolchain' | 'probes' | 'pack'> | undefined;
  readonly engine?: EngineName | undefined;
}

/**
 * The resolved configuration and the answers that go with it. The environment is asked what the tree wants to know of it,
 * without network, unless that is known; nothing else is run.
 *
 * @throws Failure `command/answers-changed`, and what fetching, patching, configuring and asking throw
 */
export async function resolveConfig(
  host: Host,
  opened: OpenSpec,
  localFiles: LocalFiles,
  pinned: Pinned,
): Promise<Resolved> {
  const { spec } = opened;
  const { answers, known = answers } = pinned;
  // said before gigabytes are fetched for it
  const engine = known ? undefined : await readyEngine(host, pinned);
  if (engine) await fetchInputs(host, pinned.inputs, locateFor(host, opened), { epoch: spec.build.epoch });
  const files = await withBase(host, opened, localFiles, pinned.inputs);
  const pack = await patchedPack(host, opened, pinned.inputs, files.patches, {
    expected: known?.pack,
    whole: true,
  });
  const asking = (one: Engine): Ask => askInContainer(host, one, spec.name, pinned.inputs, pack.pack);
  const tree = await keptTree(
    host,
    askingPack(pack),
    makeWords(spec),
    engine ? asking(engine) : askNobody,
    new Map(Object.entries(known?.probes ?? {})),
  );
  const made = configureOn(opened, files, pack, tree);
  const config = encodeLatin1(made.text);
  await host.store.add([config]);
  const environment = knownEnvironment(spec, pinned.inputs.packages);
  const minimums = minimumsOf(spec, pack.pack, tree.make);
  const following = followingAnswers(spec, made);
  const altered = answers ? alteredAnswers(answers, following.answers) : [];
  if (altered.length > 0) throw new Failure(altered);
  const toolchain =
    known?.toolchain ?? (engine ? await askToolchain(toolchainPrograms(spec), asking(engine)) : {});
  return {
    answers: { toolchain, ...following.answers },
    pack,
    config,
    verdicts: made.verdicts,
    patches: pack.tree?.kit ?? { stack: [], left: [] },
    files,
    asked: made.asked,
    diagnostics: [
      ...made.asked.diagnostics,
      ...pack.diagnostics,
      ...made.diagnostics,
      ...explainVerdicts(made.verdicts, made.asked, (one) => adviseVersion(one, environment, minimums)),
      ...examineToolchain(spec, environment, made, answers !== undefined),
      ...following.diagnostics,
    ],
  };
}

async function readyEngine(host: Host, { engine: name }: Pinned): Promise<Engine> {
  const engine = await findEngine(host, name);
  const room = await checkRoom(engine, diskKilobytes(''), 1);
  if (exitOf(room) !== exitCodes.ok) throw new Failure(room);
  return engine;
}

async function askToolchain(programs: readonly string[], ask: Ask): Promise<Answers['toolchain']> {
  const commands = programs.map((program) => `${program} --version 2>/dev/null | head -n 1`);
  const said = await ask({ commands, variables: {} });
  return Object.fromEntries(programs.map((program, nth) => [program, said.get(commands[nth] ?? '') ?? '']));
}
