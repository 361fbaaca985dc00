/** A process of its own that writes into a store until it is killed: `store-writer.ts FOLDER SEED`. */
import { Store } from '../../src/host/store.ts';

const [folder = '', seed = ''] = process.argv.slice(2);
const store = new Store(folder);
process.stdout.write('writing\n');
for (let turn = 0; ; turn += 1) {
  const piece = Buffer.alloc(1 << 16, `${seed} ${turn}`);
  await store.add([piece, piece, piece]);
  await store.keepNamed('models', `${seed}-${turn % 3}`, piece);
}
