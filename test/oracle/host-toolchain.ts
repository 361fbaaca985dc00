/** The compiler of this machine, which builds the kernel's own programs and answers their probes. */
import { execFile } from 'node:child_process';
import { createHash, randomUUID } from 'node:crypto';
import { existsSync } from 'node:fs';
import { mkdir, readFile, rename } from 'node:fs/promises';
import path from 'node:path';
import { promisify } from 'node:util';

import { testCache } from '../setup/engine.ts';
import { MissingInput } from './apt-root.ts';

const run = promisify(execFile);

/** What a program of a tree is run with, and nothing else: the same in a shell, under npm and in CI. */
export const plainEnvironment: Readonly<Record<string, string>> = {
  PATH: (process.env['PATH'] ?? '/usr/bin:/bin')
    .split(':')
    .filter((folder) => !folder.includes('node_modules'))
    .join(':'),
  HOME: process.env['HOME'] ?? '/',
  LC_ALL: 'C',
};

/** Each program that a probe asks for, as it names itself. */
const identify = `
for program in gcc ld as nm objcopy rustc bindgen pahole python3 clang; do
  echo "$program: $(command -v "$program" >/dev/null && "$program" --version 2>&1 | head -n 1)"
done
echo "$PATH"`;

let identity: Promise<string> | undefined;

/** A word that is another one as soon as a program that answers probes is another one. */
export function toolchainId(): Promise<string> {
  identity ??= run('sh', ['-c', identify], { env: plainEnvironment }).then(({ stdout }) => digest(stdout));
  return identity;
}

/**
 * Compiles a C file beside this one, once; returns the path of the result.
 * @param flags what the compiler is told besides, such as objects to link with; they are part of the result's name
 * @throws MissingInput where there is no compiler
 */
export async function compiled(file: string, flags: readonly string[]): Promise<string> {
  const source = path.join(import.meta.dirname, file);
  const id = digest([await readFile(source, 'utf8'), await toolchainId(), ...flags].join('\0'));
  const folder = path.join(testCache(), 'kconfig', 'tools');
  const result = path.join(folder, `${path.basename(file, '.c')}-${id}`);
  if (existsSync(result)) return result;
  await mkdir(folder, { recursive: true });
  // another test of this process may be at it as well
  const aside = `${result}.${randomUUID()}`;
  try {
    await run('gcc', ['-O1', '-Wall', '-o', aside, source, ...flags], { env: plainEnvironment });
  } catch (error) {
    throw new MissingInput(`gcc did not compile ${file}: ${String(error)}`);
  }
  await rename(aside, result);
  return result;
}

function digest(text: string): string {
  return createHash('sha256').update(text).digest('hex').slice(0, 12);
}
