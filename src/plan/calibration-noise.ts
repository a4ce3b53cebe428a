import type { PairNoise } from "../measure/pair-noise.js";

/** A value with its standard error. */
export interface WithError {
  readonly value: number;
  readonly error: number;
}

/**
 * e-/ADU by photon transfer: the light of flat frames over the variance that it adds, (F - B) / (s_F^2 - s_B^2)
 * (Janesick 2001, Scientific Charge-Coupled Devices, chapter 2, from memory; the algebra is Poisson's).
 * @param flat - of two flat frames, as `pairNoise` gives it
 * @param bias - of two bias frames; short darks do where the flats are well lit
 * @returns null when the flats are at the converter's limit (more than 0.2 % of the pixels at one highest value), or add
 * no variance
 * @example
 * ```ts
 * import { gainByFlats } from "nightyield";
 * // 20,000 ADU of light with a noise of 158 ADU: 20,000 / (158^2 - 2^2) = 0.80 e-/ADU.
 * const gain = gainByFlats(
 *   { levelAdu: 20400, noiseAdu: 158, noiseErrorAdu: 0.1 },
 *   { levelAdu: 400, noiseAdu: 2, noiseErrorAdu: 0.01 },
 * );
 * console.log(gain?.value, "+-", gain?.error, "e-/ADU");
 * ```
 */
export function gainByFlats(
  flat: Pick<PairNoise, "levelAdu" | "noiseAdu" | "noiseErrorAdu"> & { readonly atMost?: number },
  bias: Pick<PairNoise, "levelAdu" | "noiseAdu" | "noiseErrorAdu">,
): WithError | null {
  const light = flat.levelAdu - bias.levelAdu;
  const added = flat.noiseAdu ** 2 - bias.noiseAdu ** 2;
  if (!(light > 0 && added > 0) || (flat.atMost ?? 0) > 0.002) return null;
  const value = light / added;
  const error =
    (value * Math.hypot(2 * flat.noiseAdu * flat.noiseErrorAdu, 2 * bias.noiseAdu * bias.noiseErrorAdu)) / added;
  return { value, error };
}

/**
 * Read noise in electrons, with the errors of both.
 * @param bias - noise of a pixel in bias frames, ADU
 * @param gain - e-/ADU
 * @example
 * ```ts
 * import { readNoiseInElectrons } from "nightyield";
 * const { value, error } = readNoiseInElectrons({ noiseAdu: 2, noiseErrorAdu: 0.01 }, { value: 0.8, error: 0.002 });
 * console.log(value, "+-", error, "e-"); // 1.6 +- 0.009
 * ```
 */
export function readNoiseInElectrons(
  bias: Pick<PairNoise, "noiseAdu" | "noiseErrorAdu">,
  { value, error }: WithError,
): WithError {
  const electrons = bias.noiseAdu * value;
  return { value: electrons, error: electrons * Math.hypot(bias.noiseErrorAdu / bias.noiseAdu, error / value) };
}
