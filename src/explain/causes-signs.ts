import { expectationOf } from "../grade/good-part.js";
import type { Group } from "../grade/groups.js";
import { median, quantile } from "../numbers/quantiles.js";
import { skyBrightness } from "../sky/sky-brightness.js";
import { conditionsOf } from "../sky/sky-column.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { CauseOptions, Losses } from "./causes-terms.js";
import type { Explained, LightFound } from "./laws.js";

/** What is seen of one sub, compared with its group. NaN: not measured. */
export interface Signs {
  readonly row: number;
  /** Start, minutes since 1970. */
  readonly minute: number;
  readonly losses: Losses;
  /** 1 - b/a beyond the group's good subs. */
  readonly drawnOut: number;
  readonly angleDeg: number;
  /** Movement of the field since the sub before and until the next, px; NaN where not matched. */
  readonly stepXPx: number;
  readonly stepYPx: number;
  /** Usual step of the group: dithering. */
  readonly usualStepPx: number;
  /** Part of it is blocked and none of its stars were recognised: what happened to its light and stars is not seen. */
  readonly hidden: boolean;
  /** Stars against the usual number of the group. */
  readonly starRatio: number;
  readonly fwhmPx: number;
  /** Variance of twilight, moonlight and air glow against the group's darkest tenth, as parts of a dark sky. */
  readonly sky: { readonly twilight: number; readonly moon: number; readonly air: number };
  readonly sunAltitudeDeg: number;
  readonly moonAltitudeDeg: number;
  /** Against the cooler part of the group. */
  readonly warmerC: number;
  /** Hot pixels, against the usual number of the group. */
  readonly hotRatio: number;
  /** Blur by field rotation, px; 0 where the mount does not let the field turn. */
  readonly rotationPx: number;
}

const ellipticityOf = (eccentricity: number) => 1 - Math.sqrt(1 - Math.min(1, eccentricity * eccentricity));
const orZero = (value: number) => (Number.isFinite(value) ? value : 0);
/** More than e^-6 of the light or sky is never needed. */
const most = 6;
const loss = (value: number) => Math.min(most, Math.max(0, orZero(value)));
/** Loss of weight for point sources a magnitude: 2 ln(10) / 2.5. */
const lossPerMag = 0.8 * Math.LN10;
/** A trail widens the half-maximum contour by sqrt(a/b), and a round fit to it by somewhat more (simulated). */
const stretchedWidth = 1.5;
/** Even of a night that is mostly cloudy so much is taken to be clear. */
const clearPart = 0.15;
/** What a streak counts for, so that it is named when nothing else costs more. */
const streakLoss = 0.15;

/** Fewer stars beside an edge may be pieces of it. */
const fewestStars = 8;

/** How far widths are believed: wholly up to a half blocked, not at all from three quarters on. */
const openEnough = (blocked: number) => Math.min(1, Math.max(0, (0.75 - blocked) / 0.25));

/**
 * The signs of the subs of a group, in time.
 * @param explained - twilight and moonlight as found in the nights; null: as the model of the sky has them
 */
export function signsOf(
  table: FrameTable,
  group: Group,
  options: Required<CauseOptions>,
  explained: Explained | null,
): Signs[] {
  const { rows } = group;
  const at = (column: ArrayLike<number>) => Float64Array.from(rows, (row) => column[row]);
  const noise = at(table.noiseAdu);
  const airmass = at(table.airmass);
  const seeing = airmass.map((x) => (x > 0 ? x ** 0.6 : 1));
  const air = airmass.map((x) => lossPerMag * options.extinctionMagPerAirmass * (x - 1) + 1.2 * Math.log(x));
  const leastAir = quantile(air, 0.1);
  // What is blocked is calmer than the sky.
  const open = (values: Float64Array) => {
    const kept = values.filter((_, i) => !(table.blockedFraction[rows[i]] > 0.03));
    return kept.length >= 5 ? kept : values;
  };
  const darkNoise = quantile(open(noise), 0.1);
  const width = expectationOf(
    at(table.fwhmPx).map((w, i) => w / seeing[i]),
    "low",
  ).expected;
  const ellipticity = at(table.eccentricity).map(ellipticityOf);
  const round = expectationOf(ellipticity, "low").expected;
  const cool = quantile(at(table.sensorTempC), 0.3);
  const hot = quantile(at(table.hotPixels), 0.3);
  const wide = at(table.fwhmPx).map((w, i) => 2 * Math.log(w / (width * seeing[i])));
  const lost = lightOf(table, rows, leastAir, air).map((light) => -2 * Math.log(light));
  // The clear level is that of whole, sharp subs: behind an edge or far from focus starlight is not measured well.
  const whole = open(lost).length < lost.length ? open(lost) : lost;
  const sharp = lost.filter((_, i) => !(table.blockedFraction[rows[i]] > 0.03) && !(wide[i] > 0.8));
  const clear = quantile(sharp.length >= 5 ? sharp : whole, clearPart);
  const sky = skyParts(table, rows, options, { explained, darkNoise });
  const steps = stepsOf(table, rows);
  const usualStepPx = quantile(
    steps.map(([x, y]) => Math.hypot(x, y)),
    0.6,
  );
  const stars = median(at(table.starCount));
  const turns = fieldTurns(table, rows);
  // Behind an edge, where no star could be matched, nothing tells how much light was lost.
  const hidden = (row: number) => table.blockedFraction[row] > 0.03 && !(table.transparency[row] > 0);
  const shapeless = (row: number) => hidden(row) && !(table.starCount[row] >= fewestStars);
  return rows.map((row, i) => {
    const drawnOut = ellipticity[i] - round;
    const stretched = -stretchedWidth * Math.log(1 - Math.min(0.9, Math.max(0, orZero(drawnOut))));
    const wider = loss(wide[i]);
    const overlap =
      (1 - Math.abs(table.shiftXPx[row]) / table.width[row]) * (1 - Math.abs(table.shiftYPx[row]) / table.height[row]);
    return {
      row,
      minute: Date.parse(table.startUtc[row].replace(/Z?$/, "Z")) / 60_000,
      losses: {
        light: hidden(row) ? 0 : loss(lost[i] - orZero(clear)),
        noise: loss(2 * Math.log(noise[i] / darkNoise)),
        air: loss(air[i] - leastAir),
        // Where little is open, what passes for stars is the edge.
        width: shapeless(row) ? 0 : Math.max(0, wider - stretched) * openEnough(orZero(table.blockedFraction[row])),
        elongation: shapeless(row) ? 0 : loss(2 * drawnOut + Math.min(wider, stretched)),
        blocked: loss(-Math.log(1 - table.blockedFraction[row])),
        shift: loss(-Math.log(Math.max(0.002, overlap))),
        streak: table.streaks[row] > 0 ? streakLoss : 0,
      },
      drawnOut: orZero(drawnOut),
      angleDeg: table.elongationAngleDeg[row],
      stepXPx: steps[i][0],
      stepYPx: steps[i][1],
      usualStepPx,
      hidden: hidden(row),
      starRatio: table.starCount[row] / Math.max(1, stars),
      fwhmPx: table.fwhmPx[row],
      sky: sky[i],
      sunAltitudeDeg: table.sunAltitudeDeg[row],
      moonAltitudeDeg: table.moonAltitudeDeg[row],
      warmerC: table.sensorTempC[row] - cool,
      hotRatio: table.hotPixels[row] / Math.max(1, hot),
      rotationPx: turns ? orZero(table.rotationBlurPx[row]) : 0,
    };
  });
}

/**
 * Starlight against clear air: the matched one, or what the weight says of it where stars could not be matched
 * (weight = starlight^2 / noise^2, air included).
 */
function lightOf(table: FrameTable, rows: readonly number[], leastAir: number, air: Float64Array): Float64Array {
  const counted = Float64Array.from(rows, (row, i) => {
    const blocked = orZero(table.blockedFraction[row]);
    const dimmed = table.noiseAdu[row] * Math.sqrt(table.weight[row] / Math.max(0.05, 1 - blocked));
    return dimmed * Math.exp(orZero(air[i] - leastAir) / 2);
  });
  const scale = quantile(
    counted.map((value, i) => (table.transparency[rows[i]] > 0 ? value / table.transparency[rows[i]] : Number.NaN)),
    0.5,
  );
  return Float64Array.from(rows, (row, i) => {
    const matched = table.transparency[row];
    return matched > 0 ? matched : counted[i] / (scale > 0 ? scale : quantile(counted, 0.9));
  });
}

/**
 * What the model of the sky adds to a dark zenith, less what it adds to the darkest tenth of the group. Twilight and
 * moonlight that were found in the group's own noise count as found, in units of the darkest tenth's variance.
 */
function skyParts(
  table: FrameTable,
  rows: readonly number[],
  options: Required<CauseOptions>,
  { explained, darkNoise }: { readonly explained: Explained | null; readonly darkNoise: number },
) {
  const measured = (light: LightFound | undefined) =>
    light !== undefined && rows.some((r) => light.varianceAdu2[r] > 0);
  const [twilightFound, moonFound] = [explained?.twilight, explained?.moonlight].map((light) =>
    measured(light) ? light!.varianceAdu2 : null,
  );
  const parts = rows.map((row) => {
    const sky = skyBrightness(conditionsOf(table, row), options);
    const zenith = skyBrightness({ ...conditionsOf(table, row), altitudeDeg: 90 }, options);
    const unit = zenith.darkNanolambert;
    // Day has no model; it is far brighter than any night.
    const day = table.sunAltitudeDeg[row] > -1;
    return {
      twilight: day
        ? 1e6
        : orZero(twilightFound ? twilightFound[row] / darkNoise ** 2 : sky.twilightNanolambert / unit),
      moon: orZero(moonFound ? moonFound[row] / darkNoise ** 2 : sky.moonlightNanolambert / unit),
      air: orZero(sky.darkNanolambert / unit),
    };
  });
  const least = (of: (part: (typeof parts)[number]) => number) => quantile(parts.map(of), 0.1);
  const [twilight, moon, air] = [least((p) => p.twilight), least((p) => p.moon), least((p) => p.air)];
  return parts.map((p) => ({
    twilight: Math.max(0, p.twilight - twilight),
    moon: Math.max(0, p.moon - moon),
    air: Math.max(0, p.air - air),
  }));
}

/** Movement of the field from the last related sub to the next one, for one step. */
function stepsOf(table: FrameTable, rows: readonly number[]): (readonly [number, number])[] {
  const nearest = (from: number, way: 1 | -1) => {
    for (let i = from + way; i >= 0 && i < rows.length && Math.abs(i - from) <= 2; i += way)
      if (Number.isFinite(table.shiftXPx[rows[i]])) return i;
    return -1;
  };
  return rows.map((row, i) => {
    const own = Number.isFinite(table.shiftXPx[row]) ? i : -1;
    const [before, after] = [nearest(i, -1), nearest(i, 1)];
    const [a, b] = [before >= 0 ? before : own, after >= 0 ? after : own];
    if (a < 0 || b < 0 || a === b) return [Number.NaN, Number.NaN] as const;
    const [from, to] = [rows[a], rows[b]];
    // A meridian flip turns the field; it is no movement.
    if (Math.cos(((table.rotationDeg[to] - table.rotationDeg[from]) * Math.PI) / 180) < 0.5)
      return [Number.NaN, Number.NaN] as const;
    return [
      (table.shiftXPx[to] - table.shiftXPx[from]) / (b - a),
      (table.shiftYPx[to] - table.shiftYPx[from]) / (b - a),
    ] as const;
  });
}

/** True when the field turned in the group as it does on an alt-azimuth mount; true as well when that cannot be told. */
function fieldTurns(table: FrameTable, rows: readonly number[]): boolean {
  let [seen, predicted] = [0, 0];
  for (let i = 1; i < rows.length; i++) {
    const [a, b] = [rows[i - 1], rows[i]];
    const hours = (Date.parse(table.startUtc[b]) - Date.parse(table.startUtc[a])) / 3_600_000;
    const rate = (Math.abs(table.rotationRateDegPerH[a]) + Math.abs(table.rotationRateDegPerH[b])) / 2;
    const turn = Math.abs(table.rotationDeg[b] - table.rotationDeg[a]);
    const expected = rate * hours;
    // Large steps fold over and flips turn by half: only what is clear of both tells.
    if (!(expected > 0.2 && expected < 60) || !Number.isFinite(turn)) continue;
    seen += Math.min(turn, 360 - turn) > 0.5 * expected && Math.min(turn, 360 - turn) < 2 * expected ? 1 : 0;
    predicted++;
  }
  return predicted === 0 || seen > 0.4 * predicted;
}
