import { placeInSky, type SkyPlace, sunAltitudeDeg } from "../sky/place-in-sky.js";
import { checkSite, checkTarget, type Site, type Target } from "../sky/site.js";
import { sunEvents } from "../sky/twilight.js";
import { CallError } from "../terms/errors.js";
import { type RateTerms, relativeRate } from "./relative-rate.js";

/** What windows are looked for. */
export interface WindowRequest {
  readonly site: Site;
  readonly target: Target;
  /** The first night is the one around this instant, Unix milliseconds UTC. */
  readonly fromMs: number;
  /** How many nights, 1 to 400. */
  readonly nights: number;
  /** Altitude below which it does not pay, degrees; 30 when left out. */
  readonly minAltitudeDeg?: number;
  /** The Sun must be below this, degrees: -18 (astronomical darkness) when left out, at most -6. */
  readonly sunBelowDeg?: number;
  /** What altitude and Moon do to the rate in this filter. */
  readonly rate?: RateTerms;
  /** Most hours of capture a night: then `best` is the best stretch of that length. The whole window when left out. */
  readonly hoursPerNight?: number;
  /** Time between samples, minutes; 5 when left out. */
  readonly stepMin?: number;
}

/** Why there is no window. */
export type NoWindow =
  | "sun-stays-above"
  | "target-never-rises"
  | "target-stays-below-limit"
  | "target-not-up-while-dark";

/** A stretch of time, Unix milliseconds UTC. */
export interface Stretch {
  readonly startMs: number;
  readonly endMs: number;
}

/** One night's chance. */
export interface NightWindow {
  /** Noon before the night, by the Sun. */
  readonly noonMs: number;
  /** The Sun below the limit; null when it never is. */
  readonly dark: Stretch | null;
  /** Dark and high enough; in time. Empty: see `because`. */
  readonly stretches: readonly Stretch[];
  readonly because: NoWindow | null;
  readonly hours: number;
  /** Hours under the best conditions that bring as much. */
  readonly effectiveHours: number;
  /** The best start and end for the hours that the user gives to a night; null without a window. */
  readonly best: (Stretch & { readonly hours: number; readonly effectiveHours: number }) | null;
  /** Highest altitude while dark; NaN when it does not get dark. */
  readonly highestDeg: number;
  readonly moonIllumination: number;
  /** Hours of the stretches with the Moon up. */
  readonly moonUpHours: number;
  /** Smallest angle to the Moon while it is up in the stretches; NaN when it is not. */
  readonly leastMoonSeparationDeg: number;
  /** The Sun's lowest altitude of this night. */
  readonly darkestSunDeg: number;
}

/** What a target does in the sky of a site, apart from date and Sun. */
export interface TargetPath {
  readonly highestDeg: number;
  readonly lowestDeg: number;
  readonly always: "up" | "below-horizon" | "rises-and-sets";
}

/** Highest and lowest altitude: 90 - |latitude - declination| and |latitude + declination| - 90. */
export function targetPath(site: Site, target: Target): TargetPath {
  checkSite(site);
  checkTarget(target);
  const highestDeg = 90 - Math.abs(site.latitudeDeg - target.decDeg);
  const lowestDeg = Math.abs(site.latitudeDeg + target.decDeg) - 90;
  return { highestDeg, lowestDeg, always: highestDeg <= 0 ? "below-horizon" : lowestDeg > 0 ? "up" : "rises-and-sets" };
}

/**
 * The coming nights of a target: when the Sun is below its limit and the target above its own. The ends are found to a
 * second; the sums over a stretch are as fine as the steps. No stretch ever has the Sun above -6 degrees.
 * @throws CallError when the limits make no sense, or site or target do not exist
 * @example
 * ```ts
 * import { comingNights, findObject } from "nightyield";
 * const windows = comingNights({
 *   site: { latitudeDeg: 48.2, longitudeDeg: 16.4, heightM: 200 },
 *   target: findObject("NGC 6888")!,
 *   fromMs: Date.UTC(2026, 6, 1),
 *   nights: 7,
 * });
 * for (const { noonMs, hours } of windows) console.log(new Date(noonMs).toISOString().slice(0, 10), hours);
 * ```
 */
export function comingNights(request: WindowRequest): NightWindow[] {
  const { site, target, fromMs, nights, minAltitudeDeg = 30, sunBelowDeg = -18, stepMin = 5 } = request;
  if (!(Number.isInteger(nights) && nights >= 1 && nights <= 400))
    throw new CallError(`nights is ${nights}, expected a whole number from 1 to 400`);
  if (!(sunBelowDeg <= -6 && sunBelowDeg >= -18))
    throw new CallError(
      `The Sun's limit is ${sunBelowDeg} degrees, expected -18 to -6: nothing is planned by day or in bright twilight, and a telescope never points near the Sun`,
    );
  if (!(minAltitudeDeg >= 0 && minAltitudeDeg < 90))
    throw new CallError(`The least altitude is ${minAltitudeDeg} degrees, expected 0 to below 90`);
  const path = targetPath(site, target);
  const windows: NightWindow[] = [];
  let around = fromMs;
  for (let night = 0; night < nights; night++) {
    const { noonMs, nextNoonMs, midnightMs } = sunEvents(around, site);
    windows.push(
      nightWindow(noonMs, nextNoonMs, midnightMs, { ...request, minAltitudeDeg, sunBelowDeg, stepMin }, path),
    );
    around = nextNoonMs + 3_600_000;
  }
  return windows;
}

type Full = WindowRequest & Required<Pick<WindowRequest, "minAltitudeDeg" | "sunBelowDeg" | "stepMin">>;

function nightWindow(
  noonMs: number,
  nextNoonMs: number,
  midnightMs: number,
  request: Full,
  path: TargetPath,
): NightWindow {
  const { site, target, minAltitudeDeg, sunBelowDeg, stepMin } = request;
  const isDark = (ms: number) => sunAltitudeDeg(ms, site) < sunBelowDeg;
  const darkStretches = stretchesOf(isDark, noonMs, nextNoonMs, stepMin);
  const dark =
    darkStretches.length === 0
      ? null
      : { startMs: darkStretches[0].startMs, endMs: darkStretches[darkStretches.length - 1].endMs };
  const place = (ms: number) => placeInSky(ms, site, target);
  let stretches: Stretch[] = [];
  let highestDeg = Number.NaN;
  if (dark !== null) {
    const high = (ms: number) => place(ms).altitudeDeg > minAltitudeDeg;
    stretches = stretchesOf(high, dark.startMs, dark.endMs, stepMin);
    highestDeg = Math.max(...samples(dark, stepMin).map((ms) => place(ms).altitudeDeg));
  }
  const sums = sumsOver(stretches, request, place);
  const because =
    stretches.length > 0
      ? null
      : path.always === "below-horizon"
        ? "target-never-rises"
        : dark === null
          ? "sun-stays-above"
          : path.highestDeg <= minAltitudeDeg
            ? "target-stays-below-limit"
            : "target-not-up-while-dark";
  return {
    noonMs,
    dark,
    stretches,
    because,
    highestDeg,
    ...sums,
    moonIllumination: place(dark === null ? midnightMs : (dark.startMs + dark.endMs) / 2).moonIllumination,
    darkestSunDeg: sunAltitudeDeg(midnightMs, site),
  };
}

function sumsOver(
  stretches: readonly Stretch[],
  { stepMin, rate, hoursPerNight = Number.POSITIVE_INFINITY }: Full,
  place: (ms: number) => SkyPlace,
): Pick<NightWindow, "hours" | "effectiveHours" | "best" | "moonUpHours" | "leastMoonSeparationDeg"> {
  let [hours, effectiveHours, moonUpHours, least] = [0, 0, 0, Number.NaN];
  let best: NightWindow["best"] = null;
  for (const { startMs, endMs } of stretches) {
    // Middles of equal pieces, none longer than a step.
    const pieces = Math.max(1, Math.ceil((endMs - startMs) / (stepMin * 60_000)));
    const pieceH = (endMs - startMs) / pieces / 3_600_000;
    const run = Math.max(1, Math.min(pieces, Math.floor(hoursPerNight / pieceH + 1e-9)));
    const rates: number[] = [];
    let inRun = 0;
    for (let i = 0; i < pieces; i++) {
      const sky = place(startMs + (i + 0.5) * pieceH * 3_600_000);
      rates.push(rate === undefined ? 1 : relativeRate(sky, rate));
      hours += pieceH;
      effectiveHours += pieceH * rates[i];
      inRun += pieceH * (rates[i] - (i >= run ? rates[i - run] : 0));
      if (i >= run - 1 && (best === null || inRun > best.effectiveHours + 1e-9)) {
        const fromMs = startMs + (i + 1 - run) * pieceH * 3_600_000;
        best = {
          startMs: fromMs,
          endMs: fromMs + run * pieceH * 3_600_000,
          hours: run * pieceH,
          effectiveHours: inRun,
        };
      }
      if (sky.moonAltitudeDeg <= 0) continue;
      moonUpHours += pieceH;
      least = Number.isNaN(least) ? sky.moonSeparationDeg : Math.min(least, sky.moonSeparationDeg);
    }
  }
  return { hours, effectiveHours, best, moonUpHours, leastMoonSeparationDeg: least };
}

/** Stretches in which something holds, their ends by bisection to half a second. */
function stretchesOf(holds: (ms: number) => boolean, fromMs: number, toMs: number, stepMin: number): Stretch[] {
  const edge = (before: number, after: number): number => {
    const wanted = holds(after);
    let [a, b] = [before, after];
    while (b - a > 500) {
      const middle = (a + b) / 2;
      if (holds(middle) === wanted) b = middle;
      else a = middle;
    }
    return (a + b) / 2;
  };
  const stretches: Stretch[] = [];
  let startMs = Number.NaN;
  let last = fromMs;
  for (const ms of samples({ startMs: fromMs, endMs: toMs }, stepMin)) {
    const now = holds(ms);
    if (now && Number.isNaN(startMs)) startMs = ms === fromMs ? ms : edge(last, ms);
    if (!now && !Number.isNaN(startMs)) {
      stretches.push({ startMs, endMs: edge(last, ms) });
      startMs = Number.NaN;
    }
    last = ms;
  }
  if (!Number.isNaN(startMs)) stretches.push({ startMs, endMs: toMs });
  return stretches.filter((stretch) => stretch.endMs - stretch.startMs > 1000);
}

function samples({ startMs, endMs }: Stretch, stepMin: number): number[] {
  const steps = Math.max(1, Math.ceil((endMs - startMs) / (stepMin * 60_000)));
  return Array.from({ length: steps + 1 }, (_, i) => startMs + ((endMs - startMs) * i) / steps);
}
