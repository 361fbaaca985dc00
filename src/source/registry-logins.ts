/**
 * Names and passwords for registries, where the engines keep them (containers-auth.json(5), and the `config.json` that
 * it goes back to): `auths` in the file that `REGISTRY_AUTH_FILE` names, in `config.json` of the folder that
 * `DOCKER_CONFIG` names or of `~/.docker`, in `DOCKER_AUTH_CONFIG` itself. Programs that such a file names, which would
 * be asked for a password, are not started.
 */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import * as z from 'zod';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { fetchCodes } from '../host/fetch-codes.ts';
import type { Host } from '../host/host.ts';
import type { Login } from '../host/netrc.ts';

const schema = z.looseObject({
  auths: z
    .record(
      z.string(),
      z.looseObject({
        auth: z.string().optional(),
        username: z.string().optional(),
        password: z.string().optional(),
      }),
    )
    .optional(),
});

/**
 * The login for a place, if this machine has one. Entries may be of a registry or of a part of it; the closest counts.
 *
 * @param names of the registry, any of which an entry may have
 * @throws Failure `host/bad-setting`
 */
export function registryLogin(
  { env }: Pick<Host, 'env'>,
  names: readonly string[],
  repository: string,
): Login | undefined {
  const parts = repository.split('/');
  const keys = names.flatMap((name) =>
    Array.from({ length: parts.length + 1 }, (_, less) =>
      [name, ...parts.slice(0, parts.length - less)].join('/'),
    ),
  );
  for (const { text, place } of settings(env)) {
    const logins = readLogins(text, place);
    const key = keys.find((one) => logins.has(one));
    if (key !== undefined) return logins.get(key);
  }
  return undefined;
}

function settings(env: Host['env']): readonly { readonly text: string; readonly place: string }[] {
  const set = (name: string): string => env[name] ?? '';
  const files = [
    set('REGISTRY_AUTH_FILE'),
    set('XDG_RUNTIME_DIR') && join(set('XDG_RUNTIME_DIR'), 'containers', 'auth.json'),
    set('DOCKER_CONFIG') && join(set('DOCKER_CONFIG'), 'config.json'),
    set('HOME') && set('DOCKER_CONFIG') === '' && join(set('HOME'), '.docker', 'config.json'),
  ];
  const own = set('DOCKER_AUTH_CONFIG');
  return [
    ...(own === '' ? [] : [{ text: own, place: 'DOCKER_AUTH_CONFIG' }]),
    ...files.flatMap((path) => {
      const text = path === false || path === '' ? undefined : readText(path);
      return path === false || text === undefined ? [] : [{ text, place: quoted(path, 120) }];
    }),
  ];
}

function readText(path: string): string | undefined {
  try {
    return readFileSync(path, 'utf8');
  } catch {
    return undefined;
  }
}

/** @throws Failure `host/bad-setting`, which shows nothing of what is in it */
function readLogins(text: string, place: string): ReadonlyMap<string, Login> {
  const { success, data } = schema.safeParse(parse(text));
  if (!success) {
    throw new Failure(
      fetchCodes.report('host/bad-setting', {
        message: `the logins for registries in ${place} cannot be read`,
        notes: [
          'It is no JSON object with `auths` in it. Nothing of it is shown, since it may hold passwords.',
        ],
        help: 'Write it anew, for example by logging in with an engine (docker login, podman login).',
      }),
    );
  }
  const logins = new Map<string, Login>();
  for (const [key, { auth, username = '', password = '' }] of Object.entries(data.auths ?? {})) {
    const [, user, secret] = /^([^:]*):(.*)$/su.exec(Buffer.from(auth ?? '', 'base64').toString()) ?? [];
    const login = { user: user ?? username, password: (secret ?? password).replace(/\0+$/u, '') };
    // older files have the URL of the registry's first interface there
    if (login.user !== '')
      logins.set(key.replace(/^https?:\/\//u, '').replace(/(?:\/v[12])?\/?$/u, ''), login);
  }
  return logins;
}

function parse(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return undefined;
  }
}
