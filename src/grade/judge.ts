import { median } from "../numbers/quantiles.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { MeasuredSymptom, Symptom } from "../terms/symptoms.js";
import type { Verdict } from "../terms/verdicts.js";
import type { Group } from "./groups.js";
import type { Limits } from "./limits.js";
import type { Worth } from "./worth.js";

/**
 * The verdict follows what the sub does to the stack, then what would spoil the stars or the field in it. Where the
 * burden lies nearer to its limit than it is known, the verdict is `borderline`.
 * @param relativeError - of the burden
 * @param crowded - so many stars were found that some may be pieces of a streak
 */
export function judge(
  symptoms: readonly Symptom[],
  burden: number,
  relativeError: number,
  limits: Limits,
  crowded = false,
): Exclude<Verdict, "unjudged"> {
  let doubtful = burden > limits.burden.borderline || Number.isNaN(burden);
  if (burden > limits.burden.drop * (1 + relativeError)) return "drop";
  const streaked = symptoms.some(({ code }) => code === "streak");
  const even = symptoms.every(({ code }) => code !== "uneven-background");
  for (const symptom of symptoms) {
    if (symptom.code === "unreadable") continue;
    const { value, expected, limit } = symptom;
    switch (symptom.code) {
      case "wide-stars":
        if (value > limits.fwhm.drop * expected) return "drop";
        break;
      case "elongated-stars":
        if (value > Math.max(limits.eccentricity.drop, expected + limits.eccentricity.aboveGroup)) return "drop";
        doubtful = true;
        break;
      case "uneven-background":
        if (value > expected + Math.max(limits.gradient.drop, 2 * (limit - expected))) return "drop";
        doubtful = true;
        break;
      case "blocked-area":
        // Around a streak neither stars nor sky are found; an obstruction makes the background uneven.
        if (value > limits.blocked.drop && !(streaked && even)) return "drop";
        doubtful = true;
        break;
      case "saturated":
        if (value > limits.saturated.drop) return "drop";
        break;
      case "shifted-field":
        // Found nowhere on the others' field, or with less of it than is allowed: along the shift, in proportion.
        if (Number.isNaN(value) && !crowded) return "drop";
        // Pieces of a streak may have been taken for stars when the shift was found.
        if (value * (1 - limits.overlap.symptom) > limit * (1 - limits.overlap.drop) && !streaked && !crowded)
          return "drop";
        doubtful = true;
        break;
      case "streak":
        if (limits.streak.drop > 0 && value >= limits.streak.drop) return "drop";
        break;
      default: // the others are in the burden already
        break;
    }
  }
  return doubtful ? "borderline" : "keep";
}

/** What the kept subs show, to say why another one costs more. */
export interface Usual {
  readonly light: number;
  readonly noiseAdu: number;
  readonly signal: number;
}

/** Medians over the kept subs of a group. */
export function usualOf(table: FrameTable, group: Group, worth: Worth, kept: readonly number[]): Usual {
  const middle = (of: (k: number) => number) => median(kept.map(of));
  return {
    light: middle((k) => worth.starlight.light[k]),
    noiseAdu: middle((k) => table.noiseAdu[group.rows[k]]),
    signal: middle((k) => worth.signal[k]),
  };
}

/**
 * Of light, noise and width, what costs a sub most against the usual ones: much burden must have a reason. The limit is
 * the value from which the sub would be kept without doubt if nothing else changed.
 * @param noiseAdu - of the sub
 * @param expectedFwhmPx - at the sub's altitude
 */
export function reasonOf(
  worth: Worth,
  usual: Usual,
  i: number,
  { noiseAdu, expectedFwhmPx, burden }: Readonly<Record<"noiseAdu" | "expectedFwhmPx" | "burden", number>>,
  limits: Limits,
): MeasuredSymptom {
  const light = worth.starlight.light[i];
  const losses = [
    2 * Math.log(usual.light / light),
    2 * Math.log(noiseAdu / usual.noiseAdu),
    Math.log(usual.signal / worth.signal[i]),
  ].map((loss) => (Number.isNaN(loss) ? 0 : loss));
  const excess = burden / limits.burden.borderline;
  switch (losses.indexOf(Math.max(...losses))) {
    case 0: {
      const limit = light * Math.sqrt(excess);
      return { code: "faint-stars", value: light, expected: usual.light, limit, column: "transparency" };
    }
    case 1: {
      const limit = noiseAdu / Math.sqrt(excess);
      return { code: "noisy-background", value: noiseAdu, expected: usual.noiseAdu, limit, column: "noiseAdu" };
    }
    default: {
      const value = worth.fwhmPx[i];
      const limit = value * excess ** (-1 / limits.merit.fwhmPower);
      return { code: "wide-stars", value, expected: expectedFwhmPx, limit, column: "fwhmPx" };
    }
  }
}
