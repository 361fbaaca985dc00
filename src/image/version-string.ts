/**
 * What `uname -v` will say of a kernel that is not built yet.
 *
 * The rule, as read in the trees:
 * - 6.1 and later (init/Makefile, the same in 6.1, 6.12 and 7.2):
 *   `echo "#VERSION" [SMP] [PREEMPT…] "TIMESTAMP" | cut -b -64`, where one preemption word is said, the last that
 *   applies of PREEMPT (option PREEMPT_BUILD), PREEMPT_DYNAMIC and PREEMPT_RT.
 * - 5.10 (scripts/mkcompile_h): the same words from SMP, PREEMPT and PREEMPT_RT, but the shell splits the timestamp,
 *   so that a run of blanks in it becomes one blank. (5.15 does the same with PREEMPT_BUILD and PREEMPT_DYNAMIC: from
 *   memory, as is that the rule moved to init/Makefile with 6.1.)
 */

export interface VersionStringFacts {
  /** Value of an option of the resolved configuration, without the `CONFIG_` prefix; `undefined` or `n` when not set. */
  readonly config: (option: string) => string | undefined;
  /** `make kernelversion`: tells which generation of the rule applies. */
  readonly kernelVersion: string;
  /** KBUILD_BUILD_VERSION. */
  readonly buildNumber: number;
  /** KBUILD_BUILD_TIMESTAMP, as `buildTimestamp` writes it. */
  readonly timestamp: string;
}

export interface VersionString {
  /** What `uname -v` says: at most 64 bytes. */
  readonly text: string;
  readonly truncated: boolean;
  /** Length before the cut, in bytes. */
  readonly bytes: number;
}

/** `__NEW_UTS_LEN` of include/uapi/linux/utsname.h. */
const longestVersion = 64;

/** Composes the version string as the kernel's own build does, cut to 64 bytes. */
export function versionString({
  config,
  kernelVersion,
  buildNumber,
  timestamp,
}: VersionStringFacts): VersionString {
  const words = [`#${buildNumber}`];
  if (config('SMP') === 'y') words.push('SMP');
  const preemption = preemptionWord(config);
  if (preemption) words.push(preemption);
  words.push(splitsTimestamp(kernelVersion) ? timestamp.trim().replace(/[ \t\n]+/g, ' ') : timestamp);
  const whole = new TextEncoder().encode(words.join(' '));
  const text = new TextDecoder().decode(whole.subarray(0, longestVersion));
  return { text, truncated: whole.length > longestVersion, bytes: whole.length };
}

function preemptionWord(config: VersionStringFacts['config']): string | undefined {
  if (config('PREEMPT_RT') === 'y') return 'PREEMPT_RT';
  if (config('PREEMPT_DYNAMIC') === 'y') return 'PREEMPT_DYNAMIC';
  // Trees older than PREEMPT_BUILD look at PREEMPT; where both exist PREEMPT selects PREEMPT_BUILD, or else
  // PREEMPT_DYNAMIC is on and was answered above.
  return config('PREEMPT_BUILD') === 'y' || config('PREEMPT') === 'y' ? 'PREEMPT' : undefined;
}

function splitsTimestamp(kernelVersion: string): boolean {
  const [major = 0, minor = 0] = kernelVersion.split('.').map((part) => Number.parseInt(part, 10));
  return major < 6 || (major === 6 && minor < 1);
}

const days = ['Sun', 'Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat'] as const;
const months = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'] as const;

/**
 * The text for KBUILD_BUILD_TIMESTAMP: what `date -u` prints in the C locale, `Thu Jan  1 00:00:00 UTC 2026`.
 * The kernel's build hands it to `date -d`, so that it names its zone.
 *
 * `epoch` is seconds since 1970-01-01T00:00:00Z, 0 to 253402300799 (the end of the year 9999); throws a RangeError else.
 */
export function buildTimestamp(epoch: number): string {
  if (!Number.isInteger(epoch) || epoch < 0 || epoch > 253402300799) {
    throw new RangeError(`${epoch} is no time in whole seconds between the years 1970 and 9999`);
  }
  const date = new Date(epoch * 1000);
  const day = String(date.getUTCDate()).padStart(2, ' ');
  const time = [date.getUTCHours(), date.getUTCMinutes(), date.getUTCSeconds()]
    .map((part) => String(part).padStart(2, '0'))
    .join(':');
  return `${days[date.getUTCDay()]} ${months[date.getUTCMonth()]} ${day} ${time} UTC ${date.getUTCFullYear()}`;
}
