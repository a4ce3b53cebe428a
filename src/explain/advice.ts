import type { CauseCode } from "../terms/causes.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { Advice, Reason } from "./advice-terms.js";
import type { SubCause } from "./causes-terms.js";
import { type NightRows, nightRowsOf } from "./drivers-nights.js";
import { type Episode, episodesOf } from "./episodes.js";

/** Most lines after a night. */
const most = 5;
/** What is worth a line: so many minutes, and this share of all kept effective exposure. */
const worthMin = 1;
const worthShare = 0.02;
/** Causes less certain than this are no ground for advice. */
const sureEnough = 0.6;

/**
 * What to change next time: at most five lines, the largest first; none when nothing is wrong that can be changed. Cloud
 * and satellites earn no advice.
 * @param table - graded
 * @param causeOfRow - by {@link causesOf}
 * @example
 * ```ts
 * import { adviceOf, causesOf, gradeNight } from "nightyield";
 * const { table, symptomsOfRow } = gradeNight(measured);
 * const causes = causesOf(table, symptomsOfRow);
 * for (const { reason, gainMin } of adviceOf(causes.table, causes.causeOfRow)) console.log(reason.kind, gainMin);
 * ```
 */
export function adviceOf(table: FrameTable, causeOfRow: readonly (SubCause | null)[]): Advice[] {
  const episodes = episodesOf(table, causeOfRow).filter(({ probability }) => probability >= sureEnough);
  const total = Array.from(table.effectiveExposureS).reduce(
    (sum, s, row) => sum + (["keep", "borderline"].includes(table.verdict[row]) && s > 0 ? s : 0),
    0,
  );
  const least = Math.max(worthMin * 60, worthShare * total);
  const night = nightRowsOf(table);
  const sorted = new Map<string, Episode[]>();
  for (const episode of episodes) {
    const key = keyOf(table, night, episode);
    sorted.set(key, [...(sorted.get(key) ?? []), episode]);
  }
  const advice: Advice[] = [];
  for (const group of sorted.values()) {
    const costS = group.reduce((sum, { costS }) => sum + costS, 0);
    const reason = reasonFor(table, night, group);
    if (reason === null || (costS < least && group[0].cause !== "bad-file")) continue;
    const subs = group.reduce((sum, { rows }) => sum + rows.length, 0);
    const probability = group.reduce((sum, e) => sum + e.probability * e.rows.length, 0) / subs;
    advice.push({ cause: group[0].cause, reason, subs, gainMin: costS / 60, probability });
  }
  return advice.sort((a, b) => b.gainMin - a.gainMin).slice(0, most);
}

/** Dusk and dawn, and filters where they decide, are advised on apart. */
function keyOf(table: FrameTable, night: NightRows, { cause, rows }: Episode): string {
  const apart: Partial<Record<CauseCode, string>> = {
    twilight: isDusk(table, night, rows) ? "dusk" : "dawn",
    "low-altitude": table.filter[rows[0]],
    moonlight: table.filter[rows[0]],
  };
  return JSON.stringify([cause, apart[cause] ?? ""]);
}

const isDusk = (table: FrameTable, night: NightRows, rows: readonly number[]) => {
  const at = night.rows.indexOf(rows[0]);
  const [a, b] = [night.rows[Math.max(0, at - 1)], night.rows[Math.min(night.rows.length - 1, at + 1)]];
  return table.sunAltitudeDeg[b] < table.sunAltitudeDeg[a];
};

function reasonFor(table: FrameTable, night: NightRows, episodes: readonly Episode[]): Reason | null {
  const [{ cause, startUtc: fromUtc }] = episodes;
  const rows = episodes.flatMap((episode) => episode.rows);
  const of = (column: ArrayLike<number>) => rows.map((row) => column[row]);
  const finite = (values: readonly number[]) => values.filter(Number.isFinite);
  switch (cause) {
    case "twilight": {
      const sun = Math.min(...finite(of(table.sunAltitudeDeg)));
      if (!Number.isFinite(sun)) return null;
      // The darkest twilight that still spoiled a sub.
      const untilSunDeg = Math.round(sun);
      const dusk = isDusk(table, night, episodes[0].rows);
      return { kind: dusk ? "start-later" : "stop-earlier", untilSunDeg, atUtc: dusk ? episodes[0].endUtc : fromUtc };
    }
    case "low-altitude": {
      const filter = table.filter[rows[0]];
      const worst = Math.max(...finite(of(table.altitudeDeg)));
      return Number.isFinite(worst) ? { kind: "stay-above", filter, altitudeDeg: worst } : null;
    }
    case "focus":
      return refocus(table, night, episodes[0]);
    case "dew":
      return { kind: "heat-against-dew", fromUtc };
    case "warm-sensor": {
      const coldest = Math.min(...finite(Array.from(table.sensorTempC)));
      return { kind: "cool-sensor", fromUtc, warmerC: Math.max(...finite(of(table.sensorTempC))) - coldest };
    }
    case "obstruction":
      return {
        kind: "avoid-obstruction",
        fromUtc,
        azimuthDeg: table.azimuthDeg[rows[0]],
        altitudeDeg: table.altitudeDeg[rows[0]],
      };
    case "wind":
      return { kind: "shelter-from-wind", gusts: rows.length };
    case "tracking":
      return { kind: "check-tracking", fromUtc };
    case "field-rotation": {
      const blurPx = Math.max(...finite(of(table.rotationBlurPx)));
      const exposureS = table.exposureS[rows[0]];
      if (!(exposureS > 0)) return null;
      // Blur grows with the exposure; a pixel does not show.
      return { kind: "shorter-subs", blurPx, longestS: exposureS / Math.max(1, blurPx) };
    }
    case "moonlight":
      return {
        kind: "avoid-moon",
        filter: table.filter[rows[0]],
        moonAltitudeDeg: Math.max(...finite(of(table.moonAltitudeDeg))),
        illumination: Math.max(...finite(of(table.moonIllumination))),
      };
    case "bad-file":
      return { kind: "check-files", files: rows.length };
    case "cloud":
    case "satellite-or-aircraft":
    case "unknown":
      return null;
    default:
      return cause satisfies never;
  }
}

/** From the start of the night, or the last sharp focus, until stars had widened. */
function refocus(table: FrameTable, night: NightRows, { rows }: Episode): Reason {
  const order = Array.from(night.rows);
  const first = order.indexOf(rows[0]);
  const nightNumber = night.nightOf[first];
  // Back to where the stars had been sharpest since the night began.
  let sharpest = first;
  for (let i = first; i >= 0 && night.nightOf[i] === nightNumber; i--) {
    const width = table.fwhmPx[order[i]];
    if (width > 1.6 * table.fwhmPx[order[sharpest]]) break;
    if (width <= table.fwhmPx[order[sharpest]]) sharpest = i;
  }
  const afterMin = (night.hours[first] - night.hours[sharpest]) * 60;
  const fell = table.sensorTempC[order[sharpest]] - table.sensorTempC[order[first]];
  return { kind: "refocus", afterMin, afterC: fell > 0.3 ? fell : Number.NaN };
}
