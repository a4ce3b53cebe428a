import { predictedLight } from "../../src/explain/predicted-light.js";
import { type Random, randomStream } from "../../src/numbers/random.js";
import { airmassAt } from "../../src/sky/airmass.js";
import { type FrameTable, fromRows } from "../../src/terms/frame-table.js";

/** What a made-up table night has; effects are on the logarithm of FWHM unless said. */
export interface TableNight {
  readonly subs: number;
  /** Altitude as the target runs: through the transit, or only rising or sinking. */
  readonly path: "transit" | "sinking";
  readonly noise?: { readonly rho: number; readonly share: number };
  readonly fwhmPerC?: number;
  readonly fwhmPer10Deg?: number;
  readonly nights?: number;
  /** Power of the airmass by which stars widen; 0.6 when left out. */
  readonly widthPower?: number;
  /**
   * Adds dusk (the Sun from -10 deg, sinking by 12 deg an hour) and a rising Moon; the background of 900 ADU rises by so
   * many ADU per nanolambert of them, 0: not at all.
   */
  readonly lightAduPerNanolambert?: number;
  /** Up, the Moon climbs all night, and nobody could tell it from a temperature that falls all night. */
  readonly moon?: "up" | "down";
}

/** Noise of variance 1: an autoregressive part and a white one, as of real seeing and its measurement. */
export function serialNoise(random: Random, n: number, rho: number, share: number): number[] {
  let slow = random.normal();
  return Array.from({ length: n }, () => {
    slow = rho * slow + Math.sqrt(1 - rho * rho) * random.normal();
    return Math.sqrt(share) * slow + Math.sqrt(1 - share) * random.normal();
  });
}

/** A night (or several) as a table, without any pixels. */
export function tableNight(seed: number, options: TableNight): FrameTable {
  const { subs, path, fwhmPerC = 0, fwhmPer10Deg = 0, nights = 1, moon = "down" } = options;
  const { widthPower = 0.6, lightAduPerNanolambert: brightens } = options;
  const rows = Array.from({ length: nights }, (_, night) => {
    const random = randomStream(seed, "table night", night);
    const { rho, share } = options.noise ?? { rho: random.between(0, 0.9), share: random.between(0.5, 1) };
    const series = () => serialNoise(random, subs, rho, share);
    const [fwhm, transparency, background, noise, reject] = [series(), series(), series(), series(), series()];
    const drift = serialNoise(random, subs, 0.95, 1);
    const hours = random.between(5, 7);
    const [top, cooling, moonrise] = [random.between(60, 75), random.between(0.8, 1.6), random.between(-0.3, 0.7)];
    const middle = random.between(0.4, 0.6);
    return Array.from({ length: subs }, (_, i) => {
      const u = i / subs;
      const hour = u * hours;
      const altitudeDeg =
        path === "transit" ? top - 30 * ((u - middle) / 0.5) ** 2 : 70 - 38 * u - random.between(0, 0.02);
      const sensorTempC = Math.round((12 - cooling * hour + 0.1 * drift[i]) * 10) / 10;
      const lit = brightens !== undefined;
      const sky = {
        sunAltitudeDeg: lit ? Math.max(-50, -10 - 12 * hour) : -30,
        moonAltitudeDeg: lit ? 40 * (u - 0.6) : moon === "up" ? 50 * (u - moonrise) : -20,
        moonSeparationDeg: 100,
        moonIllumination: 0.6,
      };
      const { twilight, moonlight } = predictedLight({
        ...sky,
        altitudeDeg,
        moonPhaseAngleDeg: 78.463,
        moonDistanceKm: 384_400,
      });
      return {
        kind: "light",
        target: "A",
        filter: "L",
        exposureS: 30,
        gainSetting: 100,
        startUtc: new Date(Date.UTC(2025, 9, 20 + night, 19) + hour * 3_600_000).toISOString(),
        altitudeDeg,
        airmass: airmassAt(altitudeDeg),
        sensorTempC,
        ...sky,
        fwhmPx:
          2.5 *
          airmassAt(altitudeDeg) ** widthPower *
          Math.exp(0.05 * fwhm[i] + fwhmPerC * (sensorTempC - 12) + (fwhmPer10Deg * (altitudeDeg - 60)) / 10),
        transparency: Math.exp(0.04 * transparency[i] - 0.1),
        backgroundAdu: 900 * Math.exp(0.02 * background[i]) + (brightens ?? 0) * (twilight + moonlight),
        noiseAdu: 30 * Math.exp(0.01 * noise[i]),
        verdict: reject[i] > 1 ? "drop" : "keep",
      };
    });
  });
  return fromRows(rows.flat());
}
