import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { fittingAdvice, toolText } from '../environment/fitting-versions.ts';
import { oldTools } from '../environment/minimum-versions.ts';
import { newTools, rustScript, type NewTool } from '../environment/rust-versions.ts';
import { boundsText, isWithin, toolOfOption } from '../environment/tool-numbers.ts';
import { toolFacts, toolVersion, usedTools, type KnownEnvironment } from '../environment/tools.ts';
import { toolFaults, type ToolFault } from '../kconfig/tool-faults.ts';
import type { Spec } from '../spec/spec.ts';
import { turnedOn } from './asked-options.ts';
import { commandCodes } from './codes.ts';
import { configNeeds } from './config-needs.ts';
import type { SpecConfig } from './spec-tree.ts';
import { explainOld, minimumsOf } from './tool-minimums.ts';

/**
 * What the tree says of the tools of the environment: too old, too new, known to be broken.
 *
 * @param settled the lock has this environment and its answers: that the tree works around it was told when it was pinned
 */
export function examineToolchain(
  spec: Spec,
  environment: KnownEnvironment,
  made: Pick<SpecConfig, 'pack' | 'tree' | 'text' | 'verdicts' | 'base' | 'explain'>,
  settled: boolean,
): readonly Diagnostic[] {
  const { pack, tree, text, verdicts, base, explain } = made;
  const { kernelVersion: version } = tree.make;
  const minimums = minimumsOf(spec, pack.pack, tree.make);
  const used = usedTools(
    environment.request,
    configNeeds(spec, turnedOn(base.text, explain.requests), text, pack),
  );
  // where it is too old the option is dropped: that it was asked for counts as well
  const wanted =
    /^CONFIG_RUST=y$/mu.test(text) ||
    verdicts.some(({ option, requested }) => option === 'RUST' && requested === 'y');
  const script = pack.pack.read(rustScript) ?? '';
  return [
    ...oldTools(minimums, used, environment).map((one) => explainOld(one, environment, version, wanted)),
    ...newTools(script, minimums, used, environment).map((one) => explainNew(one, environment, version)),
    ...(settled ? [] : toolFaults(explain.evaluation, text)).flatMap((one) =>
      explainFault(one, environment, version),
    ),
  ];
}

function explainNew(
  { tool, expected, line }: NewTool,
  environment: KnownEnvironment,
  version: string,
): Diagnostic {
  return commandCodes.report('command/tool-too-new', {
    message: `Linux ${version} expects ${toolFacts[tool].name} ${expected}, and ${toolText(tool, environment)}`,
    notes: [`The tree says of a newer one that it may or may not work (${rustScript}:${line}).`],
    help: 'Where the build stops in Rust code, leave RUST out, or take a newer kernel.',
  });
}

function explainFault(
  { option, ranges, file, line }: ToolFault,
  environment: KnownEnvironment,
  version: string,
): readonly Diagnostic[] {
  const tool = toolOfOption(ranges[0]?.[0]?.option ?? '', environment.request);
  const isBroken = (has: string): boolean =>
    ranges.some((bounds) => bounds.every((one) => isWithin(has, one)));
  // answers may be assumed, of another environment
  if (tool === undefined || !isBroken(toolVersion(tool, environment))) return [];
  const { name } = toolFacts[tool];
  return [
    commandCodes.report('command/tool-known-broken', {
      message: `Linux ${version} calls something in ${name} ${toolVersion(tool, environment)} broken, and does without it: ${option} (${file}:${line})`,
      notes: [`That is so of ${name} ${ranges.map(boundsText).join(', ')}.`],
      help: fittingAdvice(tool, environment, (has) => !isBroken(has)),
    }),
  ];
}
