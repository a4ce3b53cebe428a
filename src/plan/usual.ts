/** The most frequent value, the first one of several; NaN counts as a value. NaN of none. */
export function usualOf(values: readonly number[]): number {
  const counts = new Map<number, number>();
  for (const value of values) counts.set(value, (counts.get(value) ?? 0) + 1);
  return [...counts].sort(([, a], [, b]) => b - a)[0]?.[0] ?? Number.NaN;
}
