import { readFile } from 'node:fs/promises';
import { basename, join } from 'node:path';

import type { Engine } from '../container/engine.ts';
import { digestFile } from '../host/digest-file.ts';
import { packageVersion, templatesFolder } from '../host/package-root.ts';
import { writeFiles } from '../host/output-folder.ts';
import { buildProvenance, type FileFact } from '../record/provenance.ts';
import { recordFiles } from '../record/record-files.ts';
import { formatStatement, type Isolation } from '../record/statement.ts';
import { renderSummary, type SummaryFacts } from '../report/summary.ts';
import { isPackaged, type BasePin, type FilePin, type ImagePin } from '../spec/lock.ts';
import { sourceFact } from '../spec/source-text.ts';
import type { Artefact } from './check-artefacts.ts';
import { packagedName } from './given-base.ts';
import type { OpenSpec } from './open-spec.ts';
import type { PreparedKit } from './prepare-kit.ts';

/** All that is known of a build when it has ended. */
export interface BuildFacts {
  readonly opened: OpenSpec;
  readonly prepared: PreparedKit;
  readonly artefacts: readonly Artefact[];
  /** Which of the artefacts is the kernel image. */
  readonly image: string;
  readonly engine: Engine;
  readonly isolation: Isolation;
  readonly jobs: number;
  readonly invocationId: string;
  readonly startedOn: Date;
  readonly finishedOn: Date;
}

/** Writes provenance and summary beside the artefacts; checksums, log and kit are there already. */
export async function writeRecord(folder: string, facts: BuildFacts): Promise<void> {
  const { opened, prepared, artefacts, image, engine, isolation, jobs, startedOn, finishedOn } = facts;
  const { spec } = opened;
  const { inputs, answers } = prepared.lock;
  // by their names alone: where they lay on this machine is nobody's business, and differs on the next
  const specFile = { path: basename(opened.path), sha256: opened.sha256 };
  const lockFile = { path: basename(prepared.lockPath), sha256: prepared.lockSha256 };
  const quern = packageVersion();
  const shared = {
    engine: { name: engine.name, version: engine.version },
    quern,
    isolation,
    jobs,
    startedOn,
    finishedOn,
  };
  const provenance = buildProvenance({
    ...shared,
    spec,
    specFile,
    lockFile,
    inputs,
    answers,
    artefacts,
    image,
    byproducts: await listByproducts(folder, prepared),
    invocationId: facts.invocationId,
  });
  const role = (name: string) => (pin: FilePin) => ({ role: name, name: pin.path, sha256: pin.sha256 });
  const summary = renderSummary(
    {
      ...shared,
      name: spec.name,
      arch: spec.arch,
      kernelVersion: answers.kernelVersion,
      release: answers.kernelRelease,
      versionString: answers.versionString,
      artefacts,
      requests: prepared.verdicts,
      inputs: [
        role('spec')(specFile),
        role('lock')(lockFile),
        role('source')(sourceFact(inputs.source)),
        ...(inputs.base ? [role('base')(basePinFile(inputs.base))] : []),
        ...inputs.fragments.map(role('fragment')),
        ...inputs.patches.map(role('patch')),
        ...(inputs.image ? [imageRow(inputs.image)] : []),
      ],
      packages: inputs.packages.length,
      toolchain: answers.toolchain,
    },
    await readFile(join(templatesFolder(), 'summary.md.hbs'), 'utf8'),
  );
  const encode = (text: string): Uint8Array => new TextEncoder().encode(text);
  await writeFiles(
    folder,
    new Map([
      [recordFiles.provenance, encode(formatStatement(provenance))],
      [recordFiles.summary, encode(summary)],
    ]),
  );
}

function imageRow({ registry, repository, manifest }: ImagePin): SummaryFacts['inputs'][number] {
  return { role: 'image', name: `${registry}/${repository}`, sha256: manifest };
}

function basePinFile(base: BasePin): FilePin {
  return isPackaged(base) ? { path: packagedName(base), sha256: base.content } : base;
}

/** What the build leaves besides artefacts: its log, and the kit, the resolved configuration among it. */
async function listByproducts(folder: string, prepared: PreparedKit): Promise<readonly FileFact[]> {
  const names = [
    recordFiles.buildLog,
    ...[...prepared.kit.keys()].sort().map((name) => `${recordFiles.kit}/${name}`),
  ];
  return Promise.all(names.map(async (name) => ({ name, sha256: await digestFile(join(folder, name)) })));
}
