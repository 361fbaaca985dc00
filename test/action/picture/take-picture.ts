/**
 * Takes the picture of a job's page that the README shows: the committed bundle builds and boots the demo's kernel, as a
 * runner would have it, and what it writes for the page is drawn. Needs Debian's chromium and optipng.
 *
 *   node --import tsx test/action/picture/take-picture.ts [PICTURE]    PICTURE: .github/summary.png when not given
 */
import { execFileSync } from 'node:child_process';
import { join, resolve } from 'node:path';

import { packageRoot } from '../../../src/host/package-root.ts';
import { builtCli } from '../../setup/built-cli.ts';
import { needEngine, startEngine } from '../../setup/engine.ts';
import { startBundle } from '../start-bundle.ts';
import { makeStepFolder } from '../workspace.ts';
import { drawPage, screen } from './draw-page.ts';

const picture = resolve(process.argv[2] ?? join(packageRoot(), '.github', 'summary.png'));
const stopEngine = startEngine();
const step = makeStepFolder();
try {
  needEngine();
  const spec = 'gauge-station.yaml';
  // a repository has its lock
  const env = { ...process.env, ...step.env };
  execFileSync(process.execPath, [builtCli(), 'pin', spec], { cwd: step.workspace, env, stdio: 'inherit' });
  const { code, output } = await startBundle(step, { spec, job: 'boot', artifact: '' }).end;
  if (code !== 0) throw new Error(`the step ended with ${code}:\n${output}`);
  const height = drawPage(step.summary(), picture);
  if (height > screen.height) throw new Error(`a good build takes more than a screen: ${height} pixels`);
  execFileSync('optipng', ['-quiet', '-o5', picture], { stdio: 'inherit' });
} finally {
  step.remove();
  stopEngine();
}
