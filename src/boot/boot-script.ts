/**
 * What runs inside the booted kernel, as its first process. The kernel starts busybox and hands it what stands behind
 * `--` on its command line, so that it needs BINFMT_ELF alone and no BINFMT_SCRIPT.
 *
 * The script is the same for every kernel: modules are found where they lie, in the order of their numbers. It reports in lines that begin with
 * `mark`, all at the end and with the kernel's own messages silenced below emergencies, since both go to the same
 * serial line and the kernel breaks into what a program writes.
 */

/** Begins each line of the report. */
export const mark = '@quern ';

/** Where in the initial file system things lie; no leading slash. */
export const places = { busybox: 'bin/busybox', script: 'check', modules: 'modules' } as const;

/** What makes the kernel run the script. `panic=-1` restarts at once, which ends the emulator. */
export const kernelArguments: string = `panic=-1 rdinit=/${places.busybox} -- sh /${places.script}`;

/** The text of the script, for the shell of busybox. */
export const bootScript: string = `b=/${places.busybox}
$b mount -t proc none /proc
$b mount -t sysfs none /sys
$b mount -t devtmpfs none /dev
results=
for module in /${places.modules}/*.ko; do
  [ -e "$module" ] || continue
  name=\${module##*/}
  echo "loading $name"
  if said=$($b insmod "$module" 2>&1); then
    results="$results$name loaded
"
  else
    results="$results$name failed $(echo $said)
"
  fi
done
config=none
if [ -r /proc/config.gz ]; then
  config=$($b zcat /proc/config.gz | $b sha256sum)
fi
$b dmesg -n 1
echo
echo "${mark}release $($b uname -r)"
echo "${mark}version $($b uname -v)"
echo "${mark}config \${config%% *}"
echo -n "$results" | while read -r line; do
  echo "${mark}module $line"
done
echo "${mark}end"
# The serial line drains while this sleeps; restarting would cut it off. Powering off needs ACPI, restarting does not.
$b sleep 1
$b reboot -f
`;
