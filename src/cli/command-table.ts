import { engines, refreshKinds, type Engine, type OptionsOf } from '../commands/options.ts';
import type { Arguments } from './arguments.ts';
import { askedOption, probeFlags, probesOf, readConfigOptions, specAndLock } from './config-arguments.ts';
import { readNewOptions } from './new-arguments.ts';
import type { CommandLine } from './command-line.ts';

/** How each command looks on the command line, in the order of the work. */
export type CommandTable = {
  readonly [Name in keyof OptionsOf]: CommandLine<OptionsOf[Name]>;
};

const lock = { value: 'FILE' };
const output = { short: 'o', value: 'DIR' };
const engine = { value: 'NAME' };

function engineOf(given: Arguments): { engine?: Engine } {
  const name = given.choice('engine', engines);
  return { ...(name !== undefined && { engine: name }) };
}

export const commandTable: CommandTable = {
  new: {
    summary: 'write a first spec, with comments, ready to be checked and pinned',
    help: `Usage: quern new NAME [--kernel VERSION] [--arch ARCH] [--base BASE] [-o DIR]
       quern new NAME --config FILE | --running [--kernel VERSION] [-o DIR]

Writes NAME.yaml. From a configuration that there is come the version and the architecture;
it is copied beside the spec as NAME.config, so that everybody builds with the same one.

Options:
  --kernel VERSION   a series such as 6.1, or an exact version; 6.1 when nothing says more
  --arch ARCH        x86_64 (the default), i386, arm64, arm, riscv … or amd64, aarch64, armhf …
  --base BASE        defconfig, tinyconfig, another one of the tree, or the path of a .config
  --config FILE      begin with this .config, which may be compressed (.gz, .xz)
  --running          begin with the configuration of the kernel that this machine runs
  -o, --output DIR   where to write; the current folder when not given

Examples:
  quern new gauge-station --kernel 6.12 --base tinyconfig
  quern new gauge-station --running
`,
    operands: ['NAME'],
    flags: {
      kernel: { value: 'VERSION' },
      arch: { value: 'ARCH' },
      base: { value: 'BASE' },
      config: { value: 'FILE' },
      running: {},
      output,
    },
    read: readNewOptions,
  },
  check: {
    summary: 'read a spec, and say what would go wrong before it does',
    help: `Usage: quern check SPEC [PROBES] [--lock FILE]

Reads the spec and says what is wrong with it, each mistake with its place, works its
configuration out, and gives every requested option a verdict and a reason. Nothing is
built. The first time it fetches the source, which can take minutes; then it takes seconds.

Options:
  --lock FILE          the lock; NAME.lock.json beside the spec when not given
  --probes FILE        what the environment answers; those of the lock, or those that Quern
                       brings along for its default environment, when not given
  --probe-host         ask this machine, which runs commands of the tree: trust it first
  --save-probes FILE   keep what this machine answers
`,
    operands: ['SPEC'],
    flags: { ...probeFlags, lock },
    read: (given) => ({ ...specAndLock(given), ...probesOf(given) }),
  },
  pin: {
    summary: 'write the lock: every input by its digest, every answer kept',
    help: `Usage: quern pin SPEC [--refresh WHAT] [--engine NAME] [--lock FILE]

Finds what the lock lacks and writes it there: digests of source, patches, base, fragments
and packages, then what the environment answers. What is in the lock already stays.

Options:
  --refresh WHAT   pin this anew: source, packages, answers or all
  --engine NAME    docker, podman or buildah; the first that answers when not given
  --lock FILE      the lock; NAME.lock.json beside the spec when not given
`,
    operands: ['SPEC'],
    flags: { refresh: { value: 'WHAT' }, engine, lock },
    read: (given) => {
      const refresh = given.choice('refresh', refreshKinds);
      return { ...specAndLock(given), ...engineOf(given), ...(refresh !== undefined && { refresh }) };
    },
  },
  kit: {
    summary: 'write the folder that builds the kernel with a container engine alone',
    help: `Usage: quern kit SPEC -o DIR [--engine NAME] [--lock FILE]

Writes everything that a build needs into a folder: a container engine and a POSIX shell
run it, Quern is not needed there. Same spec and lock, same bytes.

Options:
  -o, --output DIR   the folder: new, empty, or an earlier kit
  --engine NAME      should something have to be pinned first: docker, podman or buildah;
                     the first that answers when not given
  --lock FILE        the lock; NAME.lock.json beside the spec when not given
`,
    operands: ['SPEC'],
    flags: { output, engine, lock },
    read: (given) => ({ ...specAndLock(given), ...engineOf(given), output: given.needed('output') }),
  },
  keep: {
    summary: 'keep everything that a build takes in a folder, to build from it without network',
    help: `Usage: quern keep SPEC -o DIR [--engine NAME] [--lock FILE]

Copies all that the lock names into a folder: source, packages or layers of the image, spec,
lock, the files that the spec names, and the kit. A machine without network builds the same
bytes from it:

  quern build DIR/SPEC -o OUT    with Quern, which then takes inputs from there alone
  sh DIR/kit/run.sh -o OUT       with a container engine alone
  sha256sum -c SHA256SUMS        in DIR: is everything as it was?

Called again, it brings the folder up to date, and copies only what is new.

Options:
  -o, --output DIR   the folder: new, empty, or one of an earlier run
  --engine NAME      should something have to be pinned first: docker, podman or buildah;
                     the first that answers when not given
  --lock FILE        the lock; NAME.lock.json beside the spec when not given
`,
    operands: ['SPEC'],
    flags: { output, engine, lock },
    read: (given) => ({ ...specAndLock(given), ...engineOf(given), output: given.needed('output') }),
  },
  environment: {
    summary: 'make the environment ready, keep it in a file, or take it from one',
    help: `Usage: quern environment SPEC [--save FILE | --load FILE --sha256 DIGEST]
                         [--engine NAME] [--lock FILE]

Every command that needs the environment makes it, once for each engine: that takes minutes.
Kept in a file, it can be used by another machine with the same lock, or by the next run of
a CI. It is taken by the digest that was told when it was kept: nobody can see in it what it
was made of, and whoever changes it changes the kernels that come out of it.

Options:
  --save FILE       keep it in this file, which must not be there yet
  --load FILE       take it from this file, unless the engine has it
  --sha256 DIGEST   of the file to load
  --engine NAME     docker, podman or buildah; the first that answers when not given
  --lock FILE       the lock; NAME.lock.json beside the spec when not given
`,
    operands: ['SPEC'],
    flags: { save: { value: 'FILE' }, load: { value: 'FILE' }, sha256: { value: 'DIGEST' }, engine, lock },
    read: (given) => {
      given.exclude('save', 'load', 'it is kept in a file, or taken from one');
      const [save, load] = [given.text('save'), given.text('load')];
      const sha256 = load === undefined ? given.text('sha256') : given.needed('sha256');
      if (sha256 !== undefined && load === undefined)
        given.refuse('`--sha256`', sha256, 'It goes with --load: it is the digest of the file to load.');
      else if (sha256 !== undefined && !/^[0-9a-f]{64}$/u.test(sha256))
        given.refuse('`--sha256`', sha256, 'It takes 64 hexadecimal digits in lower case.');
      return {
        ...specAndLock(given),
        ...engineOf(given),
        ...(save !== undefined && { file: { kind: 'save', path: save } }),
        ...(load !== undefined && { file: { kind: 'load', path: load, sha256: sha256 ?? '' } }),
      };
    },
  },
  build: {
    summary: 'run the kit, and leave artefacts and record in a folder',
    help: `Usage: quern build SPEC -o DIR [--jobs N] [--keep-tree] [--shell-on-failure]
                   [--engine NAME] [--lock FILE]

Checks, pins what is missing, fetches, and builds without network. Leaves the kernel with
its checksums, provenance, summary and log.

Options:
  -o, --output DIR     the folder: new, empty, or an earlier build
  --jobs N             compilers at once; as many as there are processors when not given
  --keep-tree          leave the build tree where it is, in the engine
  --shell-on-failure   when the build fails, open a shell in the environment, on the tree
  --engine NAME        docker, podman or buildah; the first that answers when not given
  --lock FILE          the lock; NAME.lock.json beside the spec when not given
`,
    operands: ['SPEC'],
    flags: {
      output,
      jobs: { value: 'N' },
      'keep-tree': {},
      'shell-on-failure': {},
      engine,
      lock,
    },
    read: (given) => {
      const jobs = given.number('jobs', 1, 1024);
      given.exclude('shell-on-failure', 'json', 'the shell needs the terminal for itself');
      return {
        ...specAndLock(given),
        ...engineOf(given),
        output: given.needed('output'),
        ...(jobs !== undefined && { jobs }),
        keepTree: given.on('keep-tree'),
        shellOnFailure: given.on('shell-on-failure'),
      };
    },
  },
  config: {
    summary: 'write the configuration that a spec, or a base with options over it, comes to',
    help: `Usage: quern config SPEC [PROBES] [--lock FILE] [-o FILE]
       quern config --tree DIR --arch ARCH [--base FILE] [--set NAME=VALUE]… [PROBES] [-o FILE]

Works out the .config that the kernel's own program would write, byte for byte, and says of
each option asked for that would not be kept why not. Nothing is built.

Options:
  --tree DIR           a kernel tree, in the place of a spec
  --arch ARCH          as on make's command line: x86_64, arm64 …
  --base FILE          a .config, or a configuration of the tree (defconfig when not given)
  --set NAME=VALUE     an option over it, as in a .config: --set CRC7=m
  -o, --output FILE    where to write it; standard output when not given
  --lock FILE          the lock; NAME.lock.json beside the spec when not given
PROBES, what the tree asks of compiler and system (else assumed, and said so):
  --probes FILE        answers that were kept
  --probe-host         ask this machine, which runs commands of the tree: trust it first
  --save-probes FILE   keep what this machine answers
`,
    operands: ['SPEC'],
    needs: 0,
    flags: {
      output: { short: 'o', value: 'FILE' },
      tree: { value: 'DIR' },
      arch: { value: 'ARCH' },
      base: { value: 'FILE' },
      set: { value: 'NAME=VALUE', many: true },
      ...probeFlags,
      lock,
    },
    read: readConfigOptions,
  },
  why: {
    summary: 'tell the whole chain of reasons for the value of an option',
    help: `Usage: quern why SPEC OPTION[=VALUE] [PROBES] [--lock FILE]

Tells where the value of an option comes from: what asks for it, what it depends on, who
selects it, and what would have to change. With VALUE: what would become of that.

Options:
  --lock FILE          the lock; NAME.lock.json beside the spec when not given
PROBES, what the tree asks of compiler and system (else assumed, and said so):
  --probes FILE        answers that were kept
  --probe-host         ask this machine, which runs commands of the tree: trust it first
  --save-probes FILE   keep what this machine answers
`,
    operands: ['SPEC', 'OPTION'],
    flags: { ...probeFlags, lock },
    read: (given) => ({
      ...specAndLock(given),
      ...probesOf(given),
      asked: askedOption(given, given.operand(1)),
    }),
  },
  verify: {
    summary: 'check artefacts against their record',
    help: `Usage: quern verify DIR

Checks that the artefacts in a folder are those that its record tells of.
`,
    operands: ['DIR'],
    flags: {},
    read: (given) => ({ folder: given.operand(0) }),
  },
  boot: {
    summary: 'prove in an emulator that the built kernel boots',
    help: `Usage: quern boot DIR [--timeout SECONDS] [--busybox FILE] [--modules NAME,…]

Boots the kernel of a build in an emulator, loads its modules, and compares what it says
of itself with the record. Nothing of this machine is touched.

Options:
  --timeout SECONDS   how long the kernel may take
  --busybox FILE      a static busybox for the kernel's architecture; else looked for here
  --modules NAME,…    the modules to load; all of them, if they are few, when not given
`,
    operands: ['DIR'],
    flags: { timeout: { value: 'SECONDS' }, busybox: { value: 'FILE' }, modules: { value: 'NAME,…' } },
    read: (given) => {
      const timeout = given.number('timeout', 1, 86_400);
      const busybox = given.text('busybox');
      const modules = given.text('modules')?.split(',').filter(Boolean);
      return {
        folder: given.operand(0),
        ...(timeout !== undefined && { timeout }),
        ...(busybox !== undefined && { busybox }),
        ...(modules !== undefined && { modules }),
      };
    },
  },
  store: {
    summary: 'say how large the store is, and clean it',
    help: `Usage: quern store [--clean [--unused DAYS]]

Sources, packages and what was worked out from them are kept in the folder that QUERN_STORE
names, else in ~/.cache/quern/store. All of it can be fetched or worked out again, as long as
it has not left the archives: a lock pins what it needs, and does not keep it.

Options:
  --clean         remove what killed processes have left, and what was not used for long
  --unused DAYS   how long; 30 when not given, 0 removes everything
`,
    operands: [],
    flags: { clean: {}, unused: { value: 'DAYS' } },
    read: (given) => {
      const unused = given.number('unused', 0, 36_500);
      const clean = given.on('clean');
      if (unused !== undefined && !clean) {
        given.refuse('`--unused` without `--clean`', String(unused), 'Write --clean as well.');
      }
      return { clean, unused: unused ?? 30 };
    },
  },
};
