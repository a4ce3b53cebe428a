// An invented night for the tests of the report: two filters, dusk at the start, a cloud bank, a gust, a satellite, two
// darks and one file that was cut off. The place is invented too.
import { explainNight } from "../../src/explain/explain-night.js";
import { frontier } from "../../src/grade/frontier.js";
import { gradeNight } from "../../src/grade/grade-night.js";
import { summariseGroup } from "../../src/grade/group-summary.js";
import { defaultLimits } from "../../src/grade/limits.js";
import type { NightResult } from "../../src/show/night-result.js";
import { placeInSky } from "../../src/sky/place-in-sky.js";
import { type FrameRow, fromRows } from "../../src/terms/frame-table.js";
import type { Symptom } from "../../src/terms/symptoms.js";

/** Known to more digits than any page may show. */
export const inventedSite = { latitudeDeg: 47.83719, longitudeDeg: 15.41283, heightM: 412 };
const target = { raDeg: 314.75, decDeg: 44.33 };

/** @param subs - number of light frames */
export function inventedNight(
  subs: number,
  { startMs = Date.UTC(2026, 7, 19, 18, 40), hours = 8.4 } = {},
): NightResult {
  const next = generator(20260819);
  const exposureS = Math.max(1, Math.round((0.75 * hours * 3600) / subs / 5) * 5);
  const rows: Partial<FrameRow>[] = [];
  for (let i = 0; i < subs; i++) {
    const ms = startMs + (i / subs) * hours * 3_600_000;
    const share = i / subs;
    const filter = share < 0.55 ? "H-alpha" : "OIII";
    const sky = placeInSky(ms + exposureS * 500, inventedSite, target);
    const cloud = share > 0.36 && share < 0.45 ? Math.sin((Math.PI * (share - 0.36)) / 0.09) ** 0.7 : 0;
    const gust = share > 0.7 && share < 0.73 ? 1 : 0;
    const dusk = 900 * Math.exp((sky.sunAltitudeDeg + 9) / 2.2);
    const backgroundAdu = 620 + (filter === "OIII" ? 240 : 0) + dusk + 420 * cloud + 60 * sky.airmass + 8 * next();
    const noiseAdu = Math.sqrt(backgroundAdu * 1.1 + 180) * (1 + 0.01 * next());
    const starlight = Math.max(0.04, (1 - 0.93 * cloud) * 10 ** (-0.1 * (sky.airmass - 1)));
    const light = starlight / (1 + dusk / 4000);
    rows.push({
      file: `${filter}/ngc7000_${String(i + 1).padStart(4, "0")}.fits`,
      kind: "light",
      target: "NGC 7000",
      filter,
      filterKind: "narrowband",
      startUtc: new Date(ms).toISOString().replace("Z", ""),
      exposureS,
      gainSetting: 100,
      sensorTempC: 21 - 7 * share + 0.15 * next(),
      width: 3096,
      height: 2080,
      pixelScaleArcsec: 2.4,
      backgroundAdu,
      noiseAdu,
      backgroundGradient: 0.5 + 2.6 * cloud + 0.05 * next(),
      starCount: Math.max(0, Math.round((filter === "OIII" ? 640 : 910) * light ** 0.8 + 14 * next())),
      fwhmPx: (1.55 + 0.25 * share) * sky.airmass ** 0.6 * (1 + 0.5 * gust + 0.015 * next()),
      fwhmArcsec: 2.4 * (1.55 + 0.25 * share) * sky.airmass ** 0.6 * (1 + 0.5 * gust),
      hfrPx: 0.93 + 0.4 * gust + 0.02 * next(),
      eccentricity: Math.min(0.95, 0.36 + 0.4 * gust + 0.02 * next()),
      saturatedFraction: 0,
      streaks: i % 83 === 40 ? 1 : 0,
      blockedFraction: 0,
      altitudeDeg: sky.altitudeDeg,
      azimuthDeg: sky.azimuthDeg,
      airmass: sky.airmass,
      sunAltitudeDeg: sky.sunAltitudeDeg,
      moonAltitudeDeg: sky.moonAltitudeDeg,
      moonSeparationDeg: sky.moonSeparationDeg,
      moonIllumination: sky.moonIllumination,
      note: i === 12 ? "no keyword says what kind of exposure this is; its object is 'NGC 7000'" : "",
    });
  }
  const none: readonly Symptom[] = [];
  const cut: Symptom = {
    code: "unreadable",
    offsetBytes: 5_760_000,
    problem: "the file ends here, 7,118,080 bytes before its image does",
    remedy: "Copy the file from the card again, or leave it out",
  };
  const file = "OIII/ngc7000_0207b.fits";
  rows.push({ file: "darks/dark_001.fits", kind: "dark", exposureS, sensorTempC: 15, verdict: "unjudged" });
  rows.push({ file: "darks/dark_002.fits", kind: "dark", exposureS, sensorTempC: 15, verdict: "unjudged" });
  rows.push({ file, kind: "unreadable", verdict: "unjudged", note: `byte ${cut.offsetBytes}: ${cut.problem}` });
  const given = rows.map((row) => (row.kind === "unreadable" ? [cut] : none));
  const { table: graded, symptomsOfRow, groups } = gradeNight(fromRows(rows), { given });
  const { table, explanation } = explainNight(graded, symptomsOfRow);
  return {
    folders: ["2026-08-19 garden"],
    table,
    symptomsOfRow,
    groups: groups.map((group) => summariseGroup(table, group)),
    frontiers: groups.map((group) => frontier(table, group)),
    explanation,
    limits: defaultLimits,
    notes: ["2 dark, flat or bias frames recognised and left out of grading"],
    attention: [`Cannot read ${file} at byte ${cut.offsetBytes}: ${cut.problem}. ${cut.remedy}`],
    site: inventedSite,
    version: "0.0.0-test",
  };
}

/** Roughly normal numbers from a seed (Lehmer's generator, 12 uniforms added). */
function generator(seed: number): () => number {
  let state = seed;
  return () => {
    let sum = -6;
    for (let i = 0; i < 12; i++) {
      state = (state * 48271) % 2147483647;
      sum += state / 2147483647;
    }
    return sum;
  };
}
