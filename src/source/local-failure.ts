import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { sourceCodes } from './codes.ts';

/**
 * What the system says about a local file or folder, as a failure. Errors without a system code are handed on.
 * @param path as the spec has it, or where it is
 * @param named where it is named
 */
export function localFailure(
  error: unknown,
  path: string,
  named: 'kernel.source' | '--tree' = 'kernel.source',
): unknown {
  const code = error instanceof Error && 'code' in error ? String(error.code) : '';
  const where = quoted(path, 120);
  const report = (message: string, help: string): Failure =>
    new Failure(sourceCodes.report('source/local-file', { message, help }), { cause: error });
  switch (code) {
    case 'ENOENT':
      return report(
        `there is no ${where}`,
        `Check ${named}: paths are relative to the ${named === '--tree' ? 'current folder' : 'spec'}.`,
      );
    case 'EACCES':
    case 'EPERM':
      return report(`${where} may not be read`, 'Give yourself the right to read it.');
    case 'EISDIR':
      return report(`${where} is a folder, not a file`, 'A folder is named by kernel.source.tree.');
    case 'ENOTDIR':
      return report(
        `${where} is no folder`,
        named === '--tree'
          ? 'Unpack the source, and name its folder.'
          : 'An archive file is named by kernel.source.tarball.',
      );
    default:
      return /^E[A-Z]+$/.test(code)
        ? report(`${where} cannot be read: ${code}`, 'Check the file and the disk it is on.')
        : error;
  }
}
