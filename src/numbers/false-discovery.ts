/**
 * Adjusted p-values of Benjamini & Hochberg (1995, J. R. Stat. Soc. B 57, 289): claiming all tests at or below q keeps
 * the expected share of wrong claims at q.
 * @param p - NaN for a test that was not made; it does not count
 */
export function benjaminiHochberg(p: ArrayLike<number>): Float64Array {
  const order = Array.from({ length: p.length }, (_, i) => i)
    .filter((i) => !Number.isNaN(p[i]))
    .sort((a, b) => p[b] - p[a]);
  const result = new Float64Array(p.length).fill(Number.NaN);
  let least = 1;
  order.forEach((i, at) => {
    least = Math.min(least, (p[i] * order.length) / (order.length - at));
    result[i] = least;
  });
  return result;
}

/**
 * Adjusted p-values that keep the chance of any false claim at the level (Holm 1979, Scand. J. Stat. 6, 65).
 * @param p - 0 to 1
 */
export function holm(p: readonly number[]): number[] {
  const order = p.map((_, i) => i).sort((a, b) => p[a] - p[b]);
  const adjusted = new Array<number>(p.length);
  let floor = 0;
  order.forEach((i, rank) => {
    floor = Math.max(floor, Math.min(1, p[i] * (p.length - rank)));
    adjusted[i] = floor;
  });
  return adjusted;
}
