import { median } from "../numbers/quantiles.js";
import { type FrameRow, type FrameTable, frameRow } from "../terms/frame-table.js";
import { nightsOf, startMs } from "./nights.js";
import { meanMoments, momentsOf, shapeOf, stretched } from "./star-shape.js";
import { trailedWidth } from "./trailed-width.js";

/** What adding needs to know of the whole set. */
export interface AddTerms {
  /** Even movement of the field, px/s. */
  readonly drift: readonly [number, number];
  readonly readNoiseAdu: number;
  /** Spoiled subs during which the field was displaced for good: a knock. */
  readonly knocked: ReadonlySet<number>;
}

/** Subs added to one: its row, and its starlight on the scale of the subs' own grading. */
export interface AddedSub {
  readonly row: Partial<FrameRow>;
  /** NaN: not known. */
  readonly light: number;
  /** The same where it was measured on stars of one part at least; NaN otherwise. For grading. */
  readonly measuredLight: number;
  readonly lightError: number;
  readonly knocked: boolean;
}

/** Adds consecutive subs as if they had been one exposure. One sub alone stays as it is, without its verdict. */
export function addedSub(table: FrameTable, parts: readonly number[], terms: AddTerms): AddedSub {
  const k = parts.length;
  const first = frameRow(table, parts[0]);
  const fresh = { ...first, verdict: "", symptoms: "", cause: "", causeProbability: Number.NaN, weight: Number.NaN };
  const lights = parts.map((row) => lightOf(table, row));
  const relativeError = median(parts.map((row) => table.transparencyError[row] / table.transparency[row]));
  const known = lights.filter(Number.isFinite);
  const usual = known.length === 0 ? Number.NaN : known.reduce((a, b) => a + b, 0) / known.length;
  const measured = parts.some((row) => Number.isFinite(table.transparency[row]));
  const told = (light: number) => ({
    light,
    measuredLight: measured ? light : Number.NaN,
    lightError: (light * relativeError) / Math.sqrt(k),
  });
  if (k === 1) return { row: fresh, ...told(usual), knocked: terms.knocked.has(parts[0]) };
  const values = (of: ArrayLike<number>) => parts.map((row) => of[row]);
  const sum = (of: ArrayLike<number>) => values(of).reduce((total, v) => total + v, 0);
  const mean = (of: ArrayLike<number>) => sum(of) / k;
  const exposureS = sum(table.exposureS);
  const knock = parts.findIndex((row) => terms.knocked.has(row));
  // After a knock the stars stay where they are: the sum is as double as its knocked part, whose stars fell on two
  // places in some ratio; in the mean over knocks the ratio is the same for any length.
  const looks = knock < 0 ? parts : [parts[knock]];
  const others = lights.filter((v, i) => i !== knock && Number.isFinite(v));
  const share = knock < 0 ? 1 : Math.min(1, lights[knock] / median(others));
  const light = (knock < 0 || others.length === 0 ? usual : median(others)) * (Number.isFinite(share) ? share : 1);
  const weights = looks.map((row) => lightOf(table, row)).map((v) => (v > 0 ? v : 1e-3));
  const atRest = meanMoments(
    looks.map((row) => momentsOf(table.fwhmPx[row], table.eccentricity[row], table.elongationAngleDeg[row])),
    weights,
  );
  const shape = shapeOf(drawnOut(atRest, terms.drift, first.exposureS, exposureS));
  const readOuts = (k - 1) * terms.readNoiseAdu ** 2;
  const row = {
    ...fresh,
    exposureS,
    backgroundAdu: sum(table.backgroundAdu),
    // Variances add; k - 1 of the k read-outs would not have been.
    noiseAdu: Math.sqrt(Math.max(1e-12, parts.reduce((total, r) => total + table.noiseAdu[r] ** 2, 0) - readOuts)),
    backgroundGradient: Math.sqrt(k) * mean(table.backgroundGradient),
    starCount: mean(table.starCount),
    ...shape,
    fwhmArcsec: shape.fwhmPx * first.pixelScaleArcsec,
    hfrPx: (mean(table.hfrPx) * shape.fwhmPx) / mean(table.fwhmPx),
    fieldSpread: mean(table.fieldSpread),
    saturatedFraction: Math.max(...values(table.saturatedFraction)),
    streaks: sum(table.streaks),
    blockedFraction: mean(table.blockedFraction),
    transparency: mean(table.transparency),
    rotationBlurPx: k * mean(table.rotationBlurPx),
    altitudeDeg: mean(table.altitudeDeg),
    airmass: mean(table.airmass),
    sunAltitudeDeg: Math.max(...values(table.sunAltitudeDeg)),
    moonAltitudeDeg: Math.max(...values(table.moonAltitudeDeg)),
  };
  return { row, ...told(light), knocked: knock >= 0 };
}

/** Stars of subs of one length as a longer movement would draw them out. */
function drawnOut(
  moments: ReturnType<typeof momentsOf>,
  [vx, vy]: readonly [number, number],
  fromS: number,
  toS: number,
): ReturnType<typeof momentsOf> {
  const speed = Math.hypot(vx, vy);
  const { fwhmPx } = shapeOf(moments);
  if (!(speed * toS > 0.01 * fwhmPx)) return moments;
  // The subs' own trail is in their width already; it is small beside it, or they would not have been kept.
  const [now, later] = [trailedWidth(fwhmPx, speed * fromS), trailedWidth(fwhmPx, speed * toS)];
  const angleDeg = (Math.atan2(vy, vx) * 180) / Math.PI;
  return stretched(moments, angleDeg, later.alongPx / now.alongPx, later.acrossPx / now.acrossPx);
}

/** Starlight that an earlier grading found, on its own scale: its weight is light^2 / noise^2. */
function lightOf(table: FrameTable, row: number): number {
  const blocked = table.blockedFraction[row] > 0.05 ? table.blockedFraction[row] : 0;
  return table.noiseAdu[row] * Math.sqrt(table.weight[row] / (1 - blocked));
}

/** Slow movement of the field, px/s: the median step between neighbours, so that dithering does not count. */
export function driftPxPerS(table: FrameTable, rows: readonly number[]): readonly [number, number] {
  const [x, y]: [number[], number[]] = [[], []];
  for (const night of nightsOf(table, rows))
    for (let i = 1; i < night.rows.length; i++) {
      const [a, b] = [night.rows[i - 1], night.rows[i]];
      const seconds = (startMs(table, b) - startMs(table, a)) / 1000;
      if (!(seconds > 0 && seconds < 3 * table.exposureS[a] + 60)) continue;
      x.push((table.shiftXPx[b] - table.shiftXPx[a]) / seconds);
      y.push((table.shiftYPx[b] - table.shiftYPx[a]) / seconds);
    }
  return [median(x) || 0, median(y) || 0];
}

/**
 * Dropped subs with the field in another place after them than before, by more than a star's width and three times as
 * much as is usual between neighbours: knocks. (Dithering moves the field between subs, and does not spoil one.)
 */
export function knockedSubs(table: FrameTable, rows: readonly number[], drift: readonly [number, number]): Set<number> {
  const spoiled: { readonly row: number; readonly movedPx: number }[] = [];
  const usual: number[] = [];
  for (const { rows: all } of nightsOf(table, rows)) {
    const placed = (row: number) => table.verdict[row] !== "drop" && Number.isFinite(table.shiftXPx[row]);
    for (const [i, row] of all.entries()) {
      const before = all[i - 1];
      const after = all.slice(i + 1, i + 3).find(placed);
      if (before === undefined || after === undefined || !placed(before)) continue;
      const seconds = (startMs(table, after) - startMs(table, before)) / 1000;
      const movedPx = Math.hypot(
        table.shiftXPx[after] - table.shiftXPx[before] - drift[0] * seconds,
        table.shiftYPx[after] - table.shiftYPx[before] - drift[1] * seconds,
      );
      if (table.verdict[row] === "drop") spoiled.push({ row, movedPx });
      else usual.push(movedPx);
    }
  }
  const most = 3 * (median(usual) || 0);
  return new Set(
    spoiled.filter(({ row, movedPx }) => movedPx > Math.max(most, table.fwhmPx[row] || 0, 1.5)).map(({ row }) => row),
  );
}
