import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { readDotConfig } from '../kconfig/dot-config.ts';
import { makesSigningKey, missingKeyFiles, type KeyFile } from '../kconfig/key-files.ts';
import { buildTimestamp, versionString } from '../image/version-string.ts';
import { architectureFacts } from '../environment/architectures.ts';
import { hasDebugInformation, hasDeviceTrees, hasModules } from '../kit/artefacts.ts';
import type { OutputKind, Spec } from '../spec/spec.ts';
import { commandCodes } from './codes.ts';

/** A configuration with what must be said of it before it is built. */
export interface Examined {
  readonly versionString: string;
  readonly diagnostics: readonly Diagnostic[];
}

/** Options that draw random numbers for each build, and how to live without: the kernel's reproducible-builds.rst. */
const randomOptions: readonly (readonly [string, string])[] = [
  ['RANDSTRUCT', 'The layout of structures is drawn anew for each build.'],
  ['GCC_PLUGIN_RANDSTRUCT', 'The layout of structures is drawn anew for each build.'],
  ['GCC_PLUGIN_LATENT_ENTROPY', 'The plugin draws random numbers for each build.'],
];

/**
 * Looks at a resolved configuration before anything is compiled: what would break the build late, what would make two
 * builds differ.
 *
 * @param text the `.config`, in latin1
 * @param kernel its version, its key files as the pack tells, and the time that it will bear, in seconds since 1970
 */
export function examineConfig(
  spec: Spec,
  text: string,
  kernel: { readonly version: string; readonly keys: ReadonlySet<string>; readonly epoch: number },
): Examined {
  const config = readDotConfig(text);
  const stamp = versionString({
    config: (option) => config.get(option),
    kernelVersion: kernel.version,
    buildNumber: 1,
    timestamp: buildTimestamp(kernel.epoch),
  });
  return {
    versionString: stamp.text,
    diagnostics: [
      ...missingKeyFiles(text, kernel.keys).map(explainMissingKey),
      ...(makesSigningKey(text, kernel.keys) ? [explainSigningKey()] : []),
      ...randomOptions.filter(([option]) => config.get(option) === 'y').map(explainRandom),
      ...(stamp.truncated ? [explainCut(stamp.bytes, stamp.text)] : []),
      ...missingOutputs(spec, text),
    ],
  };
}

function explainMissingKey({ option, path }: KeyFile): Diagnostic {
  return commandCodes.report('command/key-file-missing', {
    message: `the configuration names the key file ${quoted(path)} (${option}), and the source does not have it`,
    notes: [
      'Configurations of distributions name files of their own; the build would fail late: "No rule to make target".',
    ],
    help: `Ask for none in the spec (config.set: ${option}: ""), or bring the file with a patch.`,
  });
}

function explainSigningKey(): Diagnostic {
  return commandCodes.report('command/key-made-by-build', {
    message: 'MODULE_SIG_KEY has its default: each build makes a signing key of its own',
    notes: ['Its certificate is part of the kernel, so that no two builds are equal.'],
    help: 'For equal builds set MODULE_SIG_KEY to "" and sign the modules after the build.',
  });
}

function explainRandom([option, why]: readonly [string, string]): Diagnostic {
  return commandCodes.report('command/not-reproducible', {
    message: `${option} makes each build different`,
    notes: [why],
    help: `Set ${option} to n where equal builds matter more.`,
  });
}

function explainCut(bytes: number, text: string): Diagnostic {
  return commandCodes.report('command/version-string-cut', {
    message: `the version string has ${bytes} bytes and the kernel holds 64: it will say ${quoted(text, 64)}`,
    help: 'The cut takes the end of the time stamp; nothing else is lost.',
  });
}

/** What the spec wants built and the configuration, or the architecture, does not have. */
function missingOutputs({ outputs, arch }: Spec, config: string): readonly Diagnostic[] {
  const found: Diagnostic[] = [];
  const explain = (kind: OutputKind, why: string, help: string): void => {
    if (!outputs.includes(kind)) return;
    const message = `${kind} ${kind.endsWith('s') ? 'are' : 'is'} among the outputs, and ${why}`;
    found.push(
      commandCodes.report('command/no-output', {
        message,
        help: `${help}, or leave ${kind} out of the outputs.`,
      }),
    );
  };
  if (!hasModules(config)) {
    explain('modules', 'the configuration has MODULES off', 'Set MODULES to y');
    explain('extmod-build', 'the configuration has MODULES off', 'Set MODULES to y');
  }
  if (!hasDebugInformation(config)) {
    const help = 'Choose one in the spec (config.set: DEBUG_INFO_DWARF5: y, in older trees DEBUG_INFO: y)';
    explain('debug', 'the configuration has no debug information', help);
  } else if (/^CONFIG_DEBUG_INFO_SPLIT=y$/mu.test(config)) {
    const why = 'DEBUG_INFO_SPLIT leaves most of the debug information beside the object files';
    explain('debug', why, 'Set DEBUG_INFO_SPLIT to n');
  }
  if (architectureFacts(arch).deviceTrees !== true) {
    const help = 'Machines of this kind describe themselves: none is needed';
    explain('dtbs', `the tree has no device trees for ${arch}`, help);
  } else if (!hasDeviceTrees(arch, config)) {
    const help = 'Set OF to y, and what the machine takes';
    explain('dtbs', 'the kernel takes no device tree (OF_EARLY_FLATTREE is off)', help);
  }
  return found;
}
