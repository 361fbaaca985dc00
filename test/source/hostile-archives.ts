/** Archives that no kernel's source is, from random numbers: each can be made again from its seed. */
import { gzipSync } from 'node:zlib';

import fc from 'fast-check';

/** One member, written by hand (POSIX ustar): no program would write most of these. */
interface Member {
  readonly name: string;
  readonly type: string;
  readonly link: string;
  readonly body: Uint8Array;
  /** The size that the header says, where that is not the body's. */
  readonly size?: string;
}

function octal(value: number, width: number): string {
  return `${value.toString(8).padStart(width - 1, '0')}\0`;
}

export function encodeMember({ name, type, link, body, size }: Member): Buffer {
  const header = Buffer.alloc(512);
  header.write(name.slice(0, 100), 0, 'utf8');
  header.write(octal(0o644, 8), 100);
  header.write(octal(0, 8), 108);
  header.write(octal(0, 8), 116);
  header.write(size ?? octal(body.length, 12), 124, 'latin1');
  header.write(octal(0, 12), 136);
  header.write('        ', 148);
  header.write(type, 156);
  header.write(link.slice(0, 100), 157, 'utf8');
  header.write('ustar\x0000', 257);
  header.write(
    `${header
      .reduce((sum, byte) => sum + byte, 0)
      .toString(8)
      .padStart(6, '0')}\0 `,
    148,
  );
  return Buffer.concat([header, body, Buffer.alloc((512 - (body.length % 512)) % 512)]);
}

const part = fc.constantFrom(
  '..',
  '.',
  '',
  'linux',
  'Kconfig',
  'net',
  'a',
  'x\n',
  '$(hit)',
  '`hit`',
  'ü',
  '\u202e',
);
const path = fc
  .tuple(
    fc.constantFrom('', '/', 'linux/', 'linux/', 'linux/'),
    fc.array(part, { minLength: 1, maxLength: 6 }),
  )
  .map(([top, parts]) => top + parts.join('/'));
/** A pax record says its own length, or does not. */
const pax = fc
  .array(
    fc.tuple(
      fc.constantFrom('path', 'linkpath', 'size', 'mtime', '__proto__', 'GNU.sparse.major', ''),
      fc.oneof(path, fc.constantFrom('-1', '1e99', 'NaN', '99999999999999999999', '0')),
      fc.constantFrom('right', '-7', '0', '99999999', 'x'),
    ),
    { maxLength: 4 },
  )
  .map((records) =>
    Buffer.from(
      records
        .map(([key, value, length]) => {
          const rest = ` ${key}=${value}\n`;
          return `${length === 'right' ? String(rest.length + 2) : length}${rest}`;
        })
        .join(''),
    ),
  );
const body = fc.uint8Array({ maxLength: 1500 });
const size = fc.option(
  fc.constantFrom(
    '77777777777\0',
    '-0000000001\0',
    'not a number',
    '\x80\x7f\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff',
    '',
  ),
  { nil: undefined, freq: 6 },
);
const member: fc.Arbitrary<Member> = fc.oneof(
  {
    weight: 4,
    arbitrary: fc.record({ name: path, type: fc.constantFrom('0', '7', '\0'), link: fc.constant(''), body }),
  },
  {
    weight: 4,
    arbitrary: fc.record({
      name: path,
      type: fc.constantFrom('1', '2'),
      link: path,
      body: fc.constant(Buffer.alloc(0)),
    }),
  },
  {
    weight: 2,
    arbitrary: fc.record({
      name: path,
      type: fc.constantFrom('3', '4', '6', '5', 'V', 'S', 'Z'),
      link: path,
      body,
    }),
  },
  {
    weight: 2,
    arbitrary: fc.record({ name: path, type: fc.constantFrom('x', 'g', 'L', 'K'), link: path, body: pax }),
  },
);

/** A member that a source may have. */
const plain = fc
  .array(fc.constantFrom('Kconfig', 'net', 'a', 'ü', '$(hit)'), { minLength: 1, maxLength: 3 })
  .chain((parts) =>
    fc.record({
      name: fc.constant(['linux', ...parts].join('/')),
      type: fc.constantFrom('0', '0', '2'),
      link: fc.constantFrom('Kconfig', 'a/net', '../a', '../../a'),
      body: fc.uint8Array({ maxLength: 600 }),
    }),
  )
  .map((one): Member => (one.type === '2' ? { ...one, body: Buffer.alloc(0) } : { ...one, link: '' }));
const told = (one: fc.Arbitrary<Member>): fc.Arbitrary<readonly [Member, string | undefined]> =>
  fc.tuple(one, size);
const members: fc.Arbitrary<readonly (readonly [Member, string | undefined])[]> = fc.oneof(
  fc.array(told(member), { maxLength: 12 }),
  fc.array(fc.oneof({ weight: 9, arbitrary: told(plain) }, { weight: 1, arbitrary: told(member) }), {
    maxLength: 4,
  }),
  fc.array(fc.tuple(plain, fc.constant(undefined)), { minLength: 1, maxLength: 4 }),
);

/** A tar of such members: whole, cut off, with damaged bytes or lies about sizes, packed or not. */
export const hostileArchive: fc.Arbitrary<Buffer> = fc
  .record({
    members,
    cut: fc.oneof(
      { weight: 3, arbitrary: fc.constant(undefined) },
      { weight: 1, arbitrary: fc.double({ min: 0, max: 1, noNaN: true }) },
    ),
    damage: fc.oneof({ weight: 3, arbitrary: fc.constant(undefined) }, { weight: 1, arbitrary: fc.nat() }),
    packed: fc.boolean(),
  })
  .map(({ members, cut, damage, packed }) => {
    const tar = Buffer.concat([
      ...members.map(([one, said]) => encodeMember({ ...one, ...(said !== undefined && { size: said }) })),
      Buffer.alloc(1024),
    ]);
    if (damage !== undefined) tar[damage % tar.length] = 0xff;
    const whole = packed ? gzipSync(tar, { level: 1 }) : tar;
    return cut === undefined ? whole : whole.subarray(0, Math.floor(whole.length * cut));
  });

/** What a few bytes unpack to. */
export function gzipBomb(bytes: number): Buffer {
  const header = encodeMember({
    name: 'linux/big',
    type: '0',
    link: '',
    body: Buffer.alloc(0),
    size: octal(bytes, 12),
  });
  return gzipSync(Buffer.concat([header, Buffer.alloc(bytes + 1024)]), { level: 9 });
}
