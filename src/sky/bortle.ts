import { CallError } from "../terms/errors.js";

export type BortleClass = 1 | 2 | 3 | 4 | 5 | 6 | 7 | 8;

/**
 * Bortle (Sky & Telescope, 2001) describes what the eye sees and prints no mag/arcsec2. This is a secondary mapping, a
 * widely copied chart; an older table that circulates as well differs from it by one or two classes. 8 stands for 8 and 9, which the chart does not part.
 */
const darkerThanMag: readonly (readonly [BortleClass, number])[] = [
  [1, 21.99],
  [2, 21.89],
  [3, 21.69],
  [4, 20.49],
  [5, 19.5],
  [6, 18.94],
  [7, 18.38],
  [8, Number.NEGATIVE_INFINITY],
];

/**
 * The class that the chart gives to a zenith brightness. For orientation: nothing here computes with it.
 * @throws CallError when the brightness is not a number
 */
export function bortleClassOf(zenithMagArcsec2: number): BortleClass {
  const row = darkerThanMag.find(([, darkerThan]) => zenithMagArcsec2 >= darkerThan);
  if (row === undefined) throw new CallError(`Cannot give a Bortle class to ${zenithMagArcsec2} mag/arcsec2`);
  return row[0];
}

/** The zenith brightnesses of a class: from (brighter) to (darker); the outer ends are open, that is infinite. */
export function zenithRangeOfBortle(bortleClass: BortleClass): { fromMag: number; toMag: number } {
  return {
    fromMag: darkerThanMag[bortleClass - 1]![1],
    toMag: darkerThanMag[bortleClass - 2]?.[1] ?? Number.POSITIVE_INFINITY,
  };
}
