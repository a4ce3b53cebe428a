import type { FilterDepth } from "./depth.js";
import type { NoiseModel } from "./noise-model.js";

/** How a user can say what is wanted. */
export type Goal =
  /** Effective integration, hours. */
  | { readonly kind: "hours"; readonly hours: number }
  /** Signal over noise times a factor. */
  | { readonly kind: "deeper"; readonly factor: number }
  /** Signal over noise of light of a surface brightness, averaged over an area (1 px when left out). */
  | {
      readonly kind: "snr";
      readonly snr: number;
      readonly surfaceMag: number;
      readonly zeroPointMag?: number;
      readonly areaArcsec2?: number;
    }
  /** As deep as another stack of the same set-up; its effective integration on the same scale, hours. */
  | {
      readonly kind: "like";
      readonly hours: number;
      /** Another target's stack, and its hours on its own scale. */
      readonly reference?: { readonly target: string; readonly hours: number };
    };

/** The goal in seconds of effective integration, or what is missing to tell. */
export type GoalSeconds =
  | { readonly effectiveS: number }
  | {
      readonly effectiveS: null;
      readonly missing: readonly (
        | "zero-point"
        | "pixel-scale"
        | "read-noise"
        | "electrons-per-adu"
        | "pedestal"
        | "subs"
        | "positive-goal"
      )[];
    };

/**
 * Effective integration that a goal asks for in all, what is done included.
 * @example
 * ```ts
 * import { depthReached, goalSeconds } from "nightyield";
 * const [depth] = depthReached(table);
 * console.log(goalSeconds({ kind: "deeper", factor: 2 }, depth, null)); // four times the integration
 * ```
 */
export function goalSeconds(goal: Goal, depth: FilterDepth, noise: NoiseModel | null): GoalSeconds {
  switch (goal.kind) {
    case "hours":
    case "like":
      return goal.hours > 0 ? { effectiveS: goal.hours * 3600 } : { effectiveS: null, missing: ["positive-goal"] };
    case "deeper":
      // Signal over noise grows with the square root of the time.
      if (!(goal.factor > 0)) return { effectiveS: null, missing: ["positive-goal"] };
      return depth.effectiveS > 0
        ? { effectiveS: depth.effectiveS * goal.factor ** 2 }
        : { effectiveS: null, missing: ["subs"] };
    case "snr":
      return secondsForSurface(goal, depth, noise);
  }
}

function secondsForSurface(
  goal: Extract<Goal, { kind: "snr" }>,
  depth: FilterDepth,
  noise: NoiseModel | null,
): GoalSeconds {
  const { snr, surfaceMag, zeroPointMag } = goal;
  const scale = depth.pixelScaleArcsec;
  if (!(snr > 0)) return { effectiveS: null, missing: ["positive-goal"] };
  if (noise === null) return { effectiveS: null, missing: ["subs"] };
  if (noise.missing.length > 0) return { effectiveS: null, missing: noise.missing };
  if (zeroPointMag === undefined) return { effectiveS: null, missing: ["zero-point"] };
  if (Number.isNaN(scale)) return { effectiveS: null, missing: ["pixel-scale"] };
  if (Number.isNaN(noise.backgroundEPerS) || noise.readNoiseE === null)
    return { effectiveS: null, missing: ["electrons-per-adu"] };
  const pixels = (goal.areaArcsec2 ?? scale ** 2) / scale ** 2;
  const signal = 10 ** (-0.4 * (surfaceMag - zeroPointMag)) * scale ** 2;
  // Per pixel: T = SNR^2 [(s + b) + R^2 / t] / s^2, and n pixels averaged need a n-th of it.
  const variance = signal + noise.backgroundEPerS + noise.readNoiseE.value ** 2 / noise.exposureS;
  return { effectiveS: (snr ** 2 * variance) / signal ** 2 / pixels };
}
