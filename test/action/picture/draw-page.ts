import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';

import { renderPage } from '../page.ts';

/** CSS pixels: what a usual screen shows of the page of a job, without what stands round it. */
export const screen: { readonly width: number; readonly height: number } = { width: 1000, height: 800 };

/**
 * Draws a page in GitHub Flavored Markdown as a person sees it, whole and in twice the usual density, by Chromium
 * (Debian: chromium).
 *
 * @param picture the PNG that is written
 * @returns how high the page is, in CSS pixels
 */
export function drawPage(markdown: string, picture: string): number {
  const folder = mkdtempSync(join(tmpdir(), 'quern-picture-'));
  try {
    const style = readFileSync(join(import.meta.dirname, 'page.css'), 'utf8');
    const file = join(folder, 'page.html');
    const measure = 'document.body.dataset.height = document.body.offsetHeight';
    writeFileSync(
      file,
      `<!doctype html><meta charset="utf-8"><style>${style}</style><main>${renderPage(markdown)}</main><script>${measure}</script>`,
    );
    const chromium = (height: number, ...args: string[]): string =>
      execFileSync(
        'chromium',
        [
          '--headless',
          // it refuses to run as root otherwise; the page is ours
          '--no-sandbox',
          '--hide-scrollbars',
          '--force-device-scale-factor=2',
          `--user-data-dir=${join(folder, 'profile')}`,
          `--window-size=${screen.width},${height}`,
          ...args,
          pathToFileURL(file).href,
        ],
        { encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe'] },
      );
    const height = Number(/<body data-height="(\d+)"/u.exec(chromium(screen.height, '--dump-dom'))?.[1]);
    if (!Number.isInteger(height)) throw new Error('chromium did not tell how high the page is');
    // else a busy machine leaves parts of it white
    const whole = ['--run-all-compositor-stages-before-draw', '--virtual-time-budget=5000'];
    chromium(height, ...whole, `--screenshot=${picture}`);
    return height;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
