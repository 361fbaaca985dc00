/** What an environment is given to answer questions about a tree: one tar, the same bytes for the same questions. */
import { buffer } from 'node:stream/consumers';
import { pack as packTar } from 'tar-stream';

import type { Pack } from '../kconfig/pack.ts';
import { questionFiles, type Questions } from '../kconfig/probe-exchange.ts';

/** The files of the (patched) tree below `tree/`, beside them `variables` and `questions/`. */
export async function probeTar(pack: Pack, questions: Questions): Promise<Uint8Array> {
  const tar = packTar();
  const add = (name: string, content: Uint8Array, executable = false): void => {
    const owner = { uid: 0, gid: 0, uname: '', gname: '', mtime: new Date(0) };
    tar.entry({ name, ...owner, mode: executable ? 0o755 : 0o644 }, Buffer.from(content));
  };
  const whole = buffer(tar);
  for (const [path, { content, executable }] of pack.files) add(`tree/${path}`, content, executable);
  for (const [path, content] of questionFiles(questions)) add(path, content);
  tar.finalize();
  return whole;
}
