/** What the page of browser.slow.test.ts runs: a job comes from its server, and the result goes back there. */
import { configurePack, type PackJob } from './from-pack.ts';

async function work(): Promise<void> {
  const pack = await (await fetch('/pack')).arrayBuffer();
  const job = (await (await fetch('/job')).json()) as PackJob;
  await answer('config', configurePack(new Uint8Array(pack), job));
}

async function answer(name: string, body: Uint8Array | string): Promise<void> {
  await fetch(`/${name}`, { method: 'POST', body });
}

work().catch((error: unknown) =>
  answer('failure', error instanceof Error ? String(error.stack) : String(error)),
);
