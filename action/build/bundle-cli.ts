/**
 * Part of `npm run build`: puts what the command line is made of, packages too, into a few files, since Node takes longer
 * to find and read four hundred than to run most commands. What a command alone needs stays apart until it is called.
 *
 *   bundle-cli FOLDER
 *
 * FOLDER has what the compiler made of `src/`; `cli.js` in it is written anew.
 */
import { chmod, writeFile } from 'node:fs/promises';
import { join, resolve } from 'node:path';

import { build } from 'esbuild';

import { packageRoot } from '../../src/host/package-root.ts';
import { collectLicences } from './collect-licences.ts';

const [folder = ''] = process.argv.slice(2);
const outdir = resolve(folder);
const root = packageRoot();
const { metafile } = await build({
  absWorkingDir: root,
  entryPoints: ['src/cli.ts'],
  outdir,
  bundle: true,
  splitting: true,
  chunkNames: 'parts/[name]-[hash]',
  platform: 'node',
  target: 'node20',
  format: 'esm',
  // Some packages are CommonJS, and ask for what Node brings along.
  banner: {
    js: "import { createRequire as requiring } from 'node:module'; const require = requiring(import.meta.url);",
  },
  legalComments: 'none',
  // less to read at each start; names stay, for whoever has to find a fault by them
  minifyWhitespace: true,
  minifySyntax: true,
  metafile: true,
  logLevel: 'warning',
});
await chmod(join(outdir, 'cli.js'), 0o755);
await writeFile(join(outdir, 'licenses.txt'), await collectLicences(root, Object.keys(metafile.inputs)));
