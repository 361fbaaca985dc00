/**
 * Addresses that a stranger's URL must not reach: this machine itself, and what is only there for whoever is on its link,
 * such as the metadata services of clouds (RFC 6890 lists the special ranges; RFC 3927 and 4291 section 2.5.6 link-local).
 */
import { BlockList, isIP } from 'node:net';

const local = new BlockList();
for (const [network, prefix] of [
  ['0.0.0.0', 8],
  ['127.0.0.0', 8],
  ['169.254.0.0', 16],
  ['224.0.0.0', 4],
  ['255.255.255.255', 32],
] as const) {
  local.addSubnet(network, prefix, 'ipv4');
  // IPv4 addresses that are written as IPv6 ones: mapped (RFC 4291), and behind a translator (RFC 6052)
  local.addSubnet(`::ffff:${network}`, 96 + prefix, 'ipv6');
  local.addSubnet(`64:ff9b::${network}`, 96 + prefix, 'ipv6');
}
for (const [network, prefix] of [
  ['::', 127],
  ['fe80::', 10],
  ['ff00::', 8],
  // the metadata service of a cloud (from memory); the rest of fd00::/8 are networks of whoever uses them
  ['fd00:ec2::254', 128],
] as const) {
  local.addSubnet(network, prefix, 'ipv6');
}

/** Whether an IP address, in any of its spellings, is one of this machine or its link. */
export function isLocalAddress(address: string): boolean {
  const family = isIP(address);
  return family !== 0 && local.check(address, family === 6 ? 'ipv6' : 'ipv4');
}

/** Whether the host of a URL is local by its name alone. @param hostname as `URL` has it: IPv6 in brackets */
export function isLocalHost(hostname: string): boolean {
  const bare = hostname.replace(/^\[(.*)\]$/, '$1');
  return isLocalAddress(bare) || /(?:^|\.)localhost\.?$/i.test(bare);
}
