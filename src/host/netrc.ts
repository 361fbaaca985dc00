/**
 * Names and passwords for private places, from the file that `NETRC` names, in the format that ftp(1) has brought and
 * others have taken over (netrc(5)). A `default` entry is passed over: it would tell a password to whoever asks.
 */
export interface Login {
  readonly user: string;
  readonly password: string;
}

/** Reads the text of such a file. Host to login; the first entry of a host counts. */
export function parseNetrc(text: string): ReadonlyMap<string, Login> {
  const logins = new Map<string, Login>();
  for (const entry of withoutMacros(text).split(/(?:^|\s)(?=(?:machine|default)(?:\s|$))/)) {
    const words = entry.split(/\s+/).filter((word) => word !== '');
    const [kind, host] = words;
    if (kind !== 'machine' || host === undefined || logins.has(host.toLowerCase())) continue;
    const after = (name: string): string => {
      const at = words.indexOf(name, 2);
      return at < 0 ? '' : (words[at + 1] ?? '');
    };
    logins.set(host.toLowerCase(), { user: after('login'), password: after('password') });
  }
  return logins;
}

/** A macro goes on to the next empty line; a `#` behind white space begins a remark. */
function withoutMacros(text: string): string {
  return text.replace(/^\s*#.*$/gm, '').replace(/(?:^|\s)macdef\s[\s\S]*?(?:\n\s*\n|$)/g, '\n\n');
}
