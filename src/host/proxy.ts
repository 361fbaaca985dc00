/**
 * Which proxy a request goes through, from the variables that nearly every program knows (common practice, there is no
 * standard): `HTTPS_PROXY`, `HTTP_PROXY`, `ALL_PROXY` and `NO_PROXY`, in lower case first.
 */
import { Failure } from '../diagnostics/catalogue.ts';
import { fetchCodes } from './fetch-codes.ts';

type Environment = Readonly<Record<string, string | undefined>>;

/** @throws Failure `host/bad-setting` */
export function proxyFor(env: Environment, url: URL): URL | undefined {
  const name = url.protocol === 'https:' ? 'https_proxy' : 'http_proxy';
  const text = setting(env, name) ?? setting(env, 'all_proxy');
  if (text === undefined || isExempt(setting(env, 'no_proxy') ?? '', url)) return undefined;
  // without a scheme it is an HTTP proxy
  const full = text.includes('://') ? text : `http://${text}`;
  if (/^https?:/i.test(full) && URL.canParse(full)) return new URL(full);
  throw new Failure(
    fetchCodes.report('host/bad-setting', {
      message: `the proxy in ${name.toUpperCase()} is none that can be used`,
      notes: ['Its value is not shown, since it may hold a password.'],
      help: 'Write it as http://proxy.otter-bank.example:3128; of kinds there are http and https.',
    }),
  );
}

function setting(env: Environment, lower: string): string | undefined {
  return [env[lower], env[lower.toUpperCase()]].find((value) => value !== undefined && value !== '');
}

/** Names stand for themselves and all below them; with a port, for that port alone; `*` for everything. */
function isExempt(list: string, url: URL): boolean {
  const host = url.hostname.replace(/^\[(.*)\]$/, '$1').toLowerCase();
  const port = url.port === '' ? (url.protocol === 'https:' ? '443' : '80') : url.port;
  return list
    .toLowerCase()
    .split(/[\s,]+/)
    .filter((entry) => entry !== '')
    .some((entry) => {
      const [, name = '', wanted = port] = /^\[?(.*?)\]?(?::(\d+))?$/.exec(entry) ?? [];
      const bare = name.replace(/^\*?\./, '');
      if (entry === '*') return true;
      return wanted === port && (host === bare || host.endsWith(`.${bare}`));
    });
}
