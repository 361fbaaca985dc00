import { build } from 'esbuild';

import { packageRoot } from '../../src/host/package-root.ts';
import { collectLicences } from './collect-licences.ts';

/**
 * Packages behind the other half of the artifact client: downloading, listing, deleting. One of what they bring along
 * has no licence at all, and so may not be passed on.
 */
const leftOut = [
  'unzip-stream',
  '@actions/github',
  '@actions/github/lib/utils',
  '@octokit/plugin-request-log',
  '@octokit/plugin-retry',
];

/** What is committed in `action/dist/`, by name: a runner starts it without an install step. */
export async function buildBundle(): Promise<ReadonlyMap<string, Uint8Array>> {
  const root = packageRoot();
  const { outputFiles, metafile } = await build({
    absWorkingDir: root,
    entryPoints: ['action/index.ts'],
    outfile: 'action/dist/index.cjs',
    bundle: true,
    platform: 'node',
    target: 'node20',
    format: 'cjs',
    minify: true,
    keepNames: true,
    // A CommonJS file has no import.meta: templates, and what some packages load beside them, are found from the bundle.
    define: { 'import.meta.dirname': '__dirname', 'import.meta.url': 'bundleUrl' },
    banner: { js: 'const bundleUrl = require("node:url").pathToFileURL(__filename).href;' },
    alias: Object.fromEntries(leftOut.map((name) => [name, './action/build/left-out.cjs'])),
    // They are in licenses.txt, each one once and whole.
    legalComments: 'none',
    metafile: true,
    write: false,
    logLevel: 'silent',
    logOverride: { 'empty-import-meta': 'error' },
  });
  const [bundle] = outputFiles;
  if (!bundle) throw new Error('esbuild wrote nothing');
  const licences = await collectLicences(root, Object.keys(metafile.inputs));
  return new Map([
    ['index.cjs', bundle.contents],
    ['licenses.txt', new TextEncoder().encode(licences)],
  ]);
}
