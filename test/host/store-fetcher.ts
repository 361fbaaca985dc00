/** A process of its own that brings a file into a store: `store-fetcher.ts FOLDER URL SHA256 SIZE`. Says its path. */
import { download } from '../../src/host/download.ts';
import { Store } from '../../src/host/store.ts';
import { makeWorld } from '../container/world.ts';

const [folder = '', url = '', sha256 = '', size = ''] = process.argv.slice(2);
const world = makeWorld();
const host = { ...world.host, store: new Store(folder) };
const path = await download(host, { urls: [url], sha256, size: Number(size) });
process.stdout.write(`${path}\n`);
world.remove();
