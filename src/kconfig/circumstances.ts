import type { Evaluation } from './evaluation.ts';
import type { Model } from './model.ts';
import { createProbeTrace, type ProbeTrace } from './probe-trace.ts';
import type { Probes } from './probes.ts';
import { lastRequests, type Origin, type Request } from './requests.ts';
import { otherArchitectures, type OtherArchitectures } from './other-architectures.ts';
import type { TreeFiles } from './tree-files.ts';
import { valueBounds, type ValueBounds } from './value-bounds.ts';

/** What a model was read from; with it reasons reach down to probes and to other architectures. */
export interface TreeSource {
  readonly files: TreeFiles;
  readonly probes: Probes;
  readonly environment: Readonly<Record<string, string>>;
  /** Paths of all files of the tree, or of its pack. */
  readonly paths?: (() => Iterable<string>) | undefined;
}

export interface ExplainInput {
  /** Of the configuration that was made from the requests. */
  readonly evaluation: Evaluation;
  /** All of them, in the order in which they count: the last one of an option wins. */
  readonly requests: readonly Request[];
  /** Where the lines of the configuration come from that it was made of (`compose`). */
  readonly originOf?: ReadonlyMap<string, Origin> | undefined;
  readonly tree?: TreeSource | undefined;
}

/** What whoever explains a value asks, each answer worked out once. */
export interface Circumstances {
  readonly evaluation: Evaluation;
  readonly model: Model;
  /** The request for an option that counts. */
  request(option: string): Request | undefined;
  /** Where the line comes from that gives an option its value. */
  origin(option: string): Origin | undefined;
  readonly trace: ProbeTrace;
  readonly elsewhere: OtherArchitectures | undefined;
  /** What the options can be in any configuration. */
  bounds(): ValueBounds;
}

export function circumstancesOf({ evaluation, requests, originOf, tree }: ExplainInput): Circumstances {
  const { model } = evaluation;
  const asked = new Map(lastRequests(requests).map((request) => [request.option, request]));
  let bounds: ValueBounds | undefined;
  return {
    evaluation,
    model,
    request: (option) => asked.get(option),
    origin: (option) => originOf?.get(option),
    trace: tree
      ? createProbeTrace({ ...tree, paths: model.files })
      : { at: () => ({ probes: [], variables: [] }) },
    elsewhere: tree?.paths && otherArchitectures(tree.files, tree.paths, model),
    bounds: () => (bounds ??= valueBounds(evaluation)),
  };
}
