/** An unpacked and patched tree takes 1.3 to 1.7 GB in 6.1 to 7.3 (measured with du); some room for the rest. */
const treeKilobytes = 2_000_000;
/** Objects, modules and links per option that is on: an x86_64 defconfig of 6.1 comes to about 1.2 GB (from memory). */
const optionKilobytes = 500;
/** Debug information multiplies the objects (from memory). */
const debugFactor = 6;

/** A rough estimate of the disk that a build with this configuration takes, in KiB. */
export function diskKilobytes(config: string): number {
  const options = config.match(/^CONFIG_\w+=[ym]$/gmu)?.length ?? 0;
  const debug = /^CONFIG_DEBUG_INFO=y$/mu.test(config) ? debugFactor : 1;
  return treeKilobytes + options * optionKilobytes * debug;
}
