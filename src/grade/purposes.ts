import { defaultLimits, type Limits } from "./limits.js";

/** What the stack is for. */
export type Purpose = "depth" | "balanced" | "detail";

/** What a preset changes, and why. */
interface Preset {
  readonly about: string;
  readonly limits: Changes<Limits>;
}

/**
 * The presets. They differ in the figure that the stack is to make large, and in how much a bad shape is tolerated:
 * - `depth`: the brightness of extended light over the noise. Width plays no part.
 * - `balanced`: the peak of a star over the noise, which falls as 1 / FWHM^2.
 * - `detail`: the curvature of a star's peak over the noise, which decides whether two close points stand apart; it
 *   falls as 1 / FWHM^4.
 */
export const purposeRegistry: Readonly<Record<Purpose, Preset>> = {
  depth: {
    about: "faint extended light, such as nebulae",
    limits: { merit: { fwhmPower: 0 }, fwhm: { drop: 3 }, eccentricity: { drop: 0.9, aboveGroup: 0.2 } },
  },
  balanced: { about: "stars and faint light alike", limits: {} },
  detail: {
    about: "small sharp objects, such as galaxies and planetary nebulae",
    limits: { merit: { fwhmPower: 4 }, fwhm: { drop: 1.6 }, eccentricity: { drop: 0.65 } },
  },
};
/** The purposes, in the order of {@link purposeRegistry}. */
export const purposes = Object.keys(purposeRegistry) as readonly Purpose[];

/** The purpose whose limits these are; null: somebody's own. Dropping streaks is a choice of its own and plays no part. */
export function purposeOf(limits: Limits): Purpose | null {
  const text = (one: Limits) => JSON.stringify({ ...one, streak: defaultLimits.streak });
  return purposes.find((purpose) => text(limitsFor(purpose)) === text(limits)) ?? null;
}

/** Some of the fields of a nested object. */
export type Changes<T> = { readonly [K in keyof T]?: T[K] extends number ? T[K] : Changes<T[K]> };

/**
 * The limits for a purpose, with the user's own changes on top.
 * @example
 * ```ts
 * import { gradeNight, limitsFor } from "nightyield";
 * gradeNight(table, { limits: limitsFor("detail", { streak: { drop: 1 }, eccentricity: { drop: 0.7 } }) });
 * ```
 */
export function limitsFor(purpose: Purpose, changes: Changes<Limits> = {}): Limits {
  return changed(changed(defaultLimits, purposeRegistry[purpose].limits), changes);
}

function changed(limits: Limits, changes: Changes<Limits>): Limits {
  const result: Record<string, unknown> = { ...limits };
  for (const [name, change] of Object.entries(changes)) {
    const old = limits[name as keyof Limits];
    result[name] = typeof change === "object" && typeof old === "object" ? { ...old, ...change } : change;
  }
  return result as unknown as Limits;
}
