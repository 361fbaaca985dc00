import type { Architecture } from '../spec/spec.ts';

/** Debian's name of an architecture. Source: `dpkg-architecture -L`. */
const debianNames: Readonly<Record<Architecture, string>> = { x86_64: 'amd64' };

export function debianArchitecture(arch: Architecture): string {
  return debianNames[arch];
}
