const byteUnits = ['B', 'kB', 'MB', 'GB', 'TB'] as const;

/** Bytes for people, in powers of 1000: `999 B`, `1.5 kB`, `139 MB`. */
export function formatBytes(bytes: number): string {
  let value = Math.max(0, bytes);
  let unit = 0;
  while (value >= 999.5 && unit < byteUnits.length - 1) {
    value /= 1000;
    unit += 1;
  }
  const digits = unit > 0 && value < 9.95 ? 1 : 0;
  return `${value.toFixed(digits)} ${byteUnits[unit] ?? 'B'}`;
}

/** A span of time for people: `0:07`, `12:30`, `1:02:03`. Anything below a second counts as none. */
export function formatDuration(milliseconds: number): string {
  const seconds = Math.floor(Math.max(0, milliseconds) / 1000);
  const hours = Math.floor(seconds / 3600);
  const minutes = Math.floor(seconds / 60) % 60;
  const two = (value: number): string => String(value).padStart(2, '0');
  return hours > 0 ? `${hours}:${two(minutes)}:${two(seconds % 60)}` : `${minutes}:${two(seconds % 60)}`;
}
