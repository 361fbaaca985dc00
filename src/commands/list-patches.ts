/** Which patches an item of the spec's `patches` stands for: a file, those that a pattern matches, those of a series. */
import { readdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import { exists } from '../host/output-folder.ts';
import { decodeLatin1 } from '../kconfig/latin1.ts';
import { globFolder, inByteOrder, isGlob, matchesGlob } from '../patch/glob.ts';
import { parseSeries } from '../patch/series.ts';
import { filePath } from '../spec/grammar.ts';
import type { PatchOptions, SpecPatch } from '../spec/spec.ts';
import { commandCodes } from './codes.ts';
import type { OpenSpec } from './open-spec.ts';
import { besideSpec, resolveInside } from './resolve-inside.ts';

export interface ListedPatch extends Required<PatchOptions> {
  /** Relative to the spec's folder. */
  readonly path: string;
  /** Which item of the spec names it. */
  readonly item: number;
}

/** As many files in a folder of patches are looked through; a spec may lie in a home folder. */
const mostFiles = 100_000;

/** @throws Failure what `resolveInside` throws, `command/file-missing`, `command/file-outside`, `patch/bad-series` */
export async function listPatches(
  host: Host,
  { path: specPath, folder }: Pick<OpenSpec, 'path' | 'folder'>,
  patch: SpecPatch,
  item: number,
): Promise<readonly ListedPatch[]> {
  const options = { strip: 1, reverse: false, fuzz: 0, ...(typeof patch === 'object' && patch), item };
  if (typeof patch === 'object' && 'series' in patch) {
    const entries = await readSeries(host, specPath, folder, patch);
    return entries.map((entry) => ({ ...entry, fuzz: options.fuzz, item }));
  }
  const path = typeof patch === 'string' ? patch : patch.path;
  const paths = isGlob(path) ? await matching(host, folder, path) : [path];
  const { strip, reverse, fuzz } = options;
  return paths.map((one) => ({ path: one, strip, reverse, fuzz, item }));
}

async function matching(host: Host, folder: string, pattern: string): Promise<readonly string[]> {
  const home = globFolder(pattern);
  const real = await resolveInside(host, folder, home === '' ? '.' : home, 'folder');
  const found: string[] = [];
  const queue = [''];
  const depth = pattern.slice(home.length).replace(/^\//, '').split('/').length;
  let seen = 0;
  for (let inner = queue.pop(); inner !== undefined && seen < mostFiles; inner = queue.pop()) {
    for (const entry of await readdir(join(real, inner), { withFileTypes: true })) {
      seen += 1;
      const name = `${inner}${entry.name}`;
      const path = home === '' ? name : `${home}/${name}`;
      // a link is looked at when it is read: it may not lead out of the folder
      if (entry.isDirectory() && name.split('/').length < depth) queue.push(`${name}/`);
      else if (!entry.isDirectory() && filePath.pattern.test(path) && matchesGlob(pattern, path))
        found.push(path);
    }
  }
  if (found.length > 0) return found.sort(inByteOrder);
  throw new Failure(
    commandCodes.report('command/file-missing', {
      message: `the spec names ${quoted(pattern)}, which no file matches`,
      notes: [`Looked for in ${quoted(real, 120)}: \`*\` and \`?\` stand for no slash and no dot in front.`],
      help: 'Bring the patches, or correct the pattern in the spec.',
    }),
  );
}

async function readSeries(
  host: Host,
  specPath: string,
  folder: string,
  { series, strip }: { readonly series: string; readonly strip?: number },
): Promise<readonly Omit<ListedPatch, 'item' | 'fuzz'>[]> {
  const text = decodeLatin1(await readFile(await resolveInside(host, folder, series)));
  const name = besideSpec(specPath, series);
  const sources = new Map([[name, text]]);
  const { entries, diagnostics } = parseSeries(name, text, strip);
  const home = series.slice(0, series.lastIndexOf('/') + 1);
  const outside = entries
    .filter((entry) => !filePath.pattern.test(home + entry.path))
    .map((entry) =>
      commandCodes.report('command/file-outside', {
        message: `the series ${quoted(name, 120)} names ${quoted(entry.path, 120)}, which is no path below its folder`,
        span: { file: name, start: entry.start, end: entry.end },
        help: 'Patches of a series lie below its folder, and their names are plain.',
      }),
    );
  const inside = entries.filter((entry) => filePath.pattern.test(home + entry.path));
  const there = await Promise.all(inside.map((entry) => exists(join(folder, home, entry.path))));
  const missing = inside
    .filter((_, index) => !there[index])
    .map((entry) =>
      commandCodes.report('command/file-missing', {
        message: `the series ${quoted(name, 120)} names ${quoted(entry.path, 120)}, which is not there`,
        span: { file: name, start: entry.start, end: entry.end },
        help: 'Bring the patch into the folder of the series, or take its line out.',
      }),
    );
  const none =
    entries.length > 0 || diagnostics.length > 0
      ? []
      : [
          commandCodes.report('command/file-missing', {
            message: `the series ${quoted(name, 120)} names no patch`,
            help: 'Bring the series that was meant, or take it out of the patches of the spec.',
          }),
        ];
  const wrong = [...diagnostics, ...outside, ...missing, ...none];
  if (wrong.length > 0) throw new Failure(wrong, { sources });
  return entries.map((entry) => ({ path: home + entry.path, strip: entry.strip, reverse: entry.reverse }));
}
