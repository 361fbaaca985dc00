/**
 * What stands above the changes of a patch: the header of a mail as git writes it (git-format-patch(1), RFC 5322), of which
 * a file may hold several, or of DEP-3, Debian's "Patch Tagging Guidelines", which is much the same.
 */

export interface PatchHeader {
  /** First line of `Subject` or `Description`, without `[PATCH 1/2]`. */
  readonly subject?: string;
  readonly author?: string;
  /** Where it comes from: `upstream, URL`, `commit:…`. */
  readonly origin?: string;
  readonly forwarded?: string;
  readonly bug?: string;
  /** Version or URL of the upstream release that has it. */
  readonly appliedUpstream?: string;
  /** Day of the last change, YYYY-MM-DD. */
  readonly lastUpdate?: string;
}

export interface PatchMessage {
  readonly header: PatchHeader;
  /** Where it begins in the patch, in characters. */
  readonly start: number;
}

/** `From COMMIT DATE`, of which git always writes the same date (`MBOX_FROM` in its log-tree.c). */
const mailbox = /^From [0-9a-f]{40,64} \w{3} \w{3} +\d{1,2} \d\d:\d\d:\d\d \d{4}\r?$/gm;

/** Headers are no longer than this; what follows is a text for people. */
const longestHeader = 64 * 1024;

/** The messages of a patch, in their order: one, unless it is a mailbox of several. */
export function readMessages(text: string): readonly PatchMessage[] {
  const starts = [...text.matchAll(mailbox)].map(({ index }) => index);
  // what stands before the first one belongs to it
  if (starts.length > 0) starts[0] = 0;
  return (starts.length > 0 ? starts : [0]).map((start, nth) => {
    const part = text.slice(start, Math.min(starts[nth + 1] ?? text.length, start + longestHeader));
    return { header: readHeader(part), start };
  });
}

const members: Readonly<Record<string, keyof PatchHeader>> = {
  subject: 'subject',
  description: 'subject',
  from: 'author',
  author: 'author',
  origin: 'origin',
  forwarded: 'forwarded',
  bug: 'bug',
  'applied-upstream': 'appliedUpstream',
  'last-update': 'lastUpdate',
};

/** A header ends where the changes begin, at the latest; DEP-3 allows a second one behind a blank line. */
function readHeader(text: string): PatchHeader {
  const header: { -readonly [Key in keyof PatchHeader]: PatchHeader[Key] } = {};
  let last: keyof PatchHeader | undefined;
  for (const line of text.split(/\r?\n/)) {
    if (/^(?:---|diff |Index:|\+\+\+ )/.test(line)) break;
    if (/^[ \t]/.test(line) && last === 'subject' && isFolded(text, header.subject)) {
      header.subject += line.replace(/^[ \t]+/, ' ');
      continue;
    }
    const [, name = '', value = ''] = /^([A-Za-z][A-Za-z-]*):[ \t]*(.*)$/.exec(line) ?? [];
    last = Object.hasOwn(members, name.toLowerCase()) ? members[name.toLowerCase()] : undefined;
    if (last !== undefined && value !== '') header[last] ??= value;
  }
  const subject = header.subject?.replace(/^(?:\[[^\]]*\] *)+/, '');
  return { ...header, ...(subject !== undefined && { subject }) };
}

/** A mail's subject goes on in the next line; below a description of DEP-3 its long form begins there. */
function isFolded(text: string, subject: string | undefined): subject is string {
  return subject !== undefined && !/^Description:/im.test(text);
}
