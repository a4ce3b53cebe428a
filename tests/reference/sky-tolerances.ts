import { afterAll, expect } from "vitest";
import { wrapSignedDegrees } from "../../src/sky/angles.js";

/** One line of a table of tolerances: the largest difference allowed, and why that much. */
export interface Tolerance {
  readonly unit: string;
  readonly max: number;
  /** The root mean square allowed, where the source of the reference states one. */
  readonly rms?: number;
  readonly why: string;
}

/**
 * Holds differences to a table and prints, at the end of the file, what was met: gate and report are one.
 * A line of the table that nothing was held to fails as well.
 */
export function toleranceTable<Name extends string>(title: string, table: Readonly<Record<Name, Tolerance>>) {
  const met = new Map<string, number[]>();
  afterAll(() => {
    // With all tests skipped there is nothing to report.
    if (met.size === 0) return;
    const lines = Object.entries<Tolerance>(table).map(([name, { unit, max, rms }]) => {
      const sizes = met.get(name) ?? [];
      const worst = Math.max(...sizes).toPrecision(3);
      const root = Math.sqrt(sizes.reduce((sum, size) => sum + size ** 2, 0) / sizes.length);
      if (rms !== undefined) expect(root, `root mean square of ${name}`).toBeLessThanOrEqual(rms);
      return `  ${name.padEnd(28)} max ${worst} of ${max} ${unit}, rms ${root.toPrecision(3)}, ${sizes.length} values`;
    });
    console.log([title, ...lines].join("\n"));
    expect([...met.keys()].sort()).toEqual(Object.keys(table).sort());
  });
  return {
    /** In the table's unit. */
    hold(name: Name, difference: number, label = ""): void {
      const size = Math.abs(difference);
      met.set(name, [...(met.get(name) ?? []), size]);
      const { max, unit } = table[name];
      expect(size, `${label} ${name} [${unit}]`).toBeLessThanOrEqual(max);
    },
  };
}

/** Difference of two angles in arcseconds, through the wrap. */
export const arcsecBetween = (aDeg: number, bDeg: number): number => wrapSignedDegrees(aDeg - bDeg) * 3600;
