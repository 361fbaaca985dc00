import { spawnSync } from 'node:child_process';

/** What stands in a package: a folder (its name ends in a slash), a file, or a link. */
export type Entry = {
  readonly name: string;
  readonly link?: string;
  readonly hard?: string;
  readonly text?: string;
  /** A pipe, which anybody may make; devices take root. */
  readonly fifo?: boolean;
};

/** A tar of GNU's making cannot hold two things of one name, or a file below a link: written by hand (POSIX ustar). */
function tar(entries: readonly Entry[]): Buffer {
  const blocks = entries.flatMap(({ name, link, hard, text, fifo }) => {
    const body = Buffer.from(text ?? '');
    const plain = name.endsWith('/') ? '5' : fifo ? '6' : '0';
    const type = link !== undefined ? '2' : hard !== undefined ? '1' : plain;
    const header = Buffer.alloc(512);
    header.write(name, 0);
    header.write(type === '5' ? '0000755\0' : '0000644\0', 100);
    header.write('0000000\0', 108);
    header.write('0000000\0', 116);
    header.write(`${body.length.toString(8).padStart(11, '0')}\0`, 124);
    header.write('00000000000\0', 136);
    header.write('        ', 148);
    header.write(type, 156);
    header.write(link ?? hard ?? '', 157);
    header.write('ustar\x0000', 257);
    const sum = header.reduce((total, byte) => total + byte, 0);
    header.write(`${sum.toString(8).padStart(6, '0')}\0 `, 148);
    return [header, body, Buffer.alloc((512 - (body.length % 512)) % 512)];
  });
  return Buffer.concat([...blocks, Buffer.alloc(1024)]);
}

/** An ar archive (deb(5)); `size` replaces the size of its first member, which is the way to the second. */
export function deb(entries: readonly Entry[], size?: string): Buffer {
  const { stdout: data } = spawnSync('xz', ['-c'], { input: tar(entries) });
  const member = (name: string, content: Buffer, told = String(content.length)): Buffer =>
    Buffer.concat([
      Buffer.from(`${name.padEnd(16)}${'0'.padEnd(12)}0     0     100644  ${told.padEnd(10)}\`\n`),
      content,
      Buffer.alloc(content.length % 2, '\n'),
    ]);
  return Buffer.concat([
    Buffer.from('!<arch>\n'),
    member('debian-binary', Buffer.from('2.0\n'), size),
    member('data.tar.xz', data),
  ]);
}
