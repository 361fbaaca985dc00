/** @throws Error when `text` is no whole number from 1 to 999 */
export function readCount(option: string, text: string): number {
  if (!/^[1-9][0-9]{0,2}$/u.test(text))
    throw new Error(`${option} takes a number from 1 to 999, and not ${JSON.stringify(text)}`);
  return Number(text);
}
