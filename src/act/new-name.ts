import { posix } from "node:path";

/** Most file systems hold names of at most 255 bytes (or 255 UTF-16 units, which is never less). */
const longestBytes = 255;
const ending = /(?:\.(?:fits|fit|fts))?(?:\.fz)?(?:\.gz)?$/i;

/**
 * The n-th name to try where others are taken: the name itself, then `-2`, `-3` ... before the ending. A name that would
 * become too long loses characters before the number.
 * @param n - from 1
 */
export function nthName(name: string, n: number): string {
  if (n === 1) return name;
  const end = ending.exec(name)?.[0] || posix.extname(name);
  const number = `-${n}`;
  const stem = [...name.slice(0, name.length - end.length)];
  while (stem.length > 1 && Buffer.byteLength(stem.join("") + number + end) > longestBytes) stem.pop();
  return stem.join("") + number + end;
}
