import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';

export interface Certificate {
  readonly key: string;
  readonly cert: string;
  /** The certificate's file: what a client is given as the authority. */
  readonly file: string;
}

/** A certificate of a server on this machine, signed by itself, and its key. */
export function makeCertificate(folder: string): Certificate {
  const [key, file] = [join(folder, 'key.pem'), join(folder, 'cert.pem')];
  const words = ['req', '-x509', '-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:prime256v1', '-nodes'];
  words.push('-days', '2', '-subj', '/CN=127.0.0.1');
  words.push('-addext', 'subjectAltName=IP:127.0.0.1,DNS:pier.otter-bank.example');
  execFileSync('openssl', [...words, '-keyout', key, '-out', file], { stdio: 'ignore' });
  return { key: readFileSync(key, 'utf8'), cert: readFileSync(file, 'utf8'), file };
}
