import { expectationOf } from "../grade/good-part.js";
import { groupsOf } from "../grade/groups.js";
import { median } from "../numbers/quantiles.js";
import { type CauseCode, causeCodes } from "../terms/causes.js";
import { type FrameTable, withColumns } from "../terms/frame-table.js";
import type { Symptom } from "../terms/symptoms.js";
import { causeConstants as k } from "./causes-constants.js";
import { sharesOfLight } from "./causes-light.js";
import {
  evidence,
  type Placed,
  type Shares,
  sharesOfElongation,
  sharesOfNoise,
  sharesOfUnevenness,
  sharesOfWidth,
} from "./causes-shares.js";
import { type Signs, signsOf } from "./causes-signs.js";
import type { CauseEvidence, CauseOptions, EvidenceCode, NightCauses, RankedCause, SubCause } from "./causes-terms.js";
import { nightRowsOf } from "./drivers-nights.js";
import { checkLaws } from "./laws.js";

/** Twilight and moonlight count by their measured size where they are found at this level. */
const lawLevel = 0.025;
const noLoss = { light: 0, noise: 0, air: 0, width: 0, elongation: 0, blocked: 0, shift: 0, streak: 0 };

/**
 * What most likely spoiled each sub that is not a plain keep: one that is dropped or borderline, one with a symptom, and
 * every file that could not be read.
 *
 * Each sub's loss of effective exposure is taken apart (light, noise, air, width, elongation, what is blocked or outside).
 * Each part is shared among the causes that can make it, by what is seen in the sub and its neighbours in time: cloud is
 * told by lost light, never by a bright background alone. The probability of a cause grows with the loss it explains; see
 * {@link causeConstants}, all calibrated on simulated nights.
 * @param table - graded
 * @param symptomsOfRow - as grading gave them; their codes count
 * @returns causes as data, and the table with `cause` and `causeProbability`; words are made in show/
 * @example
 * ```ts
 * import { causesOf, gradeNight } from "nightyield";
 * const { table, symptomsOfRow } = gradeNight(measured);
 * const { causeOfRow } = causesOf(table, symptomsOfRow);
 * ```
 */
export function causesOf(
  table: FrameTable,
  symptomsOfRow: readonly (readonly Pick<Symptom, "code">[])[],
  options: CauseOptions = {},
): NightCauses {
  const told = { darkZenithMag: 20.5, extinctionMagPerAirmass: 0.25, ...options };
  const causeOfRow = new Array<SubCause | null>(table.rows).fill(null);
  const has = (row: number, code: Symptom["code"]) => symptomsOfRow[row]?.some((s) => s.code === code) ?? false;
  for (let row = 0; row < table.rows; row++)
    if (table.kind[row] === "unreadable" || has(row, "unreadable"))
      causeOfRow[row] = certain(row, "bad-file", "unreadable", 0.99);
  const explained = checkLaws(table, nightRowsOf(table), lawLevel);
  for (const group of groupsOf(table)) {
    const signs = signsOf(table, group, told, explained);
    const fwhmPx = expectationOf(
      group.rows.map((row) => table.fwhmPx[row]),
      "low",
    ).expected;
    const usualAir = usualAirOf(table, signs);
    signs.forEach((sign, index) => {
      const { row } = sign;
      if (causeOfRow[row] !== null) return;
      if (table.verdict[row] === "keep" && (symptomsOfRow[row]?.length ?? 0) === 0) return;
      if (table.verdict[row] === "unjudged" && (symptomsOfRow[row]?.length ?? 0) === 0) return;
      // A kept sub with nothing but a streak was spoiled by nothing else, however low it stood.
      if (table.verdict[row] === "keep" && symptomsOfRow[row].every(({ code }) => code === "streak")) {
        causeOfRow[row] = certain(row, "satellite-or-aircraft", "line-across", 0.97);
        return;
      }
      const placed = { all: signs, index, exposureS: group.exposureS, fwhmPx };
      causeOfRow[row] = causeOf(placed, {
        usualAir,
        elsewhere: Number.isNaN(table.shiftXPx[row]) && has(row, "shifted-field"),
        uneven: has(row, "uneven-background") && !(sign.losses.blocked > 0.03),
      });
    });
  }
  return {
    causeOfRow,
    table: withColumns(table, {
      cause: causeOfRow.map((cause) => cause?.cause ?? ""),
      causeProbability: Float64Array.from(causeOfRow, (cause) => cause?.probability ?? Number.NaN),
    }),
  };
}

/** What the air takes from the group's usual kept sub: so much altitude alone spoils nothing. 0 where none is kept. */
function usualAirOf(table: FrameTable, signs: readonly Signs[]): number {
  const kept = signs.filter(({ row }) => table.verdict[row] === "keep");
  return kept.length === 0 ? 0 : median(kept.map(({ losses }) => losses.air));
}

/** The cause of what speaks for itself. */
const certain = (row: number, cause: CauseCode, code: EvidenceCode, probability: number): SubCause => ({
  row,
  cause,
  probability,
  ranked: [{ cause, probability }],
  losses: noLoss,
  evidence: evidence(cause, code, 5, 1),
});

/**
 * @param seen - `usualAir`: what the air takes from a usual kept sub of the group; `elsewhere`: the sub shows none of the group's stars and many of its own; `uneven`: its background is,
 * though nothing of it is blocked
 */
function causeOf(
  placed: Placed,
  { usualAir, elsewhere, uneven }: { usualAir: number; elsewhere: boolean; uneven: boolean },
): SubCause {
  const sign = placed.all[placed.index];
  const losses = elsewhere ? { ...sign.losses, shift: 3, light: 0 } : sign.losses;
  const explained = new Map<CauseCode, number>(causeCodes.map((code) => [code, 0]));
  const add = (loss: number, shares: Shares) => {
    for (const [cause, share] of Object.entries(shares) as [CauseCode, number][])
      explained.set(cause, explained.get(cause)! + loss * share);
  };
  const light = sharesOfLight(placed);
  const noise = sharesOfNoise(placed);
  const elongation = sharesOfElongation(placed);
  const width = sharesOfWidth(placed, light.shares, elongation.shares);
  add(losses.light, light.shares);
  add(losses.noise, noise.shares);
  add(losses.width, width.shares);
  add(losses.elongation, elongation.shares);
  add(Math.max(0, losses.air - usualAir), { "low-altitude": 1 });
  add(losses.blocked, { obstruction: 1 });
  add(losses.shift, { tracking: 1 });
  const unevenness = sharesOfUnevenness(placed);
  if (uneven) add(k.uneven.loss, unevenness.shares);
  add(losses.streak, { "satellite-or-aircraft": 1 });
  add(k.unexplained, { unknown: 1 });
  const ranked = ranking(explained);
  return {
    row: sign.row,
    ...ranked[0],
    ranked,
    losses,
    evidence: [
      ...light.evidence,
      ...noise.evidence,
      ...elongation.evidence,
      ...width.evidence,
      ...(uneven ? unevenness.evidence : []),
      ...plainFacts(sign),
    ]
      .filter(({ cause }) => ranked.slice(0, 2).some((r) => r.cause === cause))
      .sort((a, b) => b.strength - a.strength),
  };
}

/** Losses that speak for themselves. */
function plainFacts({ losses, sky, sunAltitudeDeg: sun, moonAltitudeDeg: moon }: Signs): CauseEvidence[] {
  // Astronomical twilight ends at -18 deg; every 3 deg higher the sky is several times as bright.
  const bySun = Number.isNaN(sun) ? 0 : Math.min(3, Math.max(-3, (sun + 18) / 3));
  const byMoon = Number.isNaN(moon) ? 0 : moon > 0 ? 1 : -3;
  return [
    ...evidence("twilight", "sun-above-night", bySun, sun, -18, "sunAltitudeDeg"),
    ...evidence("moonlight", "moon-up", byMoon, moon, 0, "moonAltitudeDeg"),
    ...evidence("cloud", "light-lost", losses.light, Math.exp(-losses.light / 2), 1, "transparency"),
    ...evidence("dew", "light-lost", losses.light, Math.exp(-losses.light / 2), 1, "transparency"),
    ...evidence("twilight", "background-as-predicted", Math.min(losses.noise, sky.twilight), sky.twilight, 0),
    ...evidence("moonlight", "background-as-predicted", Math.min(losses.noise, sky.moon), sky.moon, 0),
    ...evidence("low-altitude", "airmass", losses.air, Math.exp(-losses.air), 1),
    ...evidence("wind", "stars-elongated", losses.elongation, losses.elongation, 0, "eccentricity"),
    ...evidence("tracking", "stars-elongated", losses.elongation, losses.elongation, 0, "eccentricity"),
    ...evidence("obstruction", "part-blocked", losses.blocked, 1 - Math.exp(-losses.blocked), 0, "blockedFraction"),
    ...evidence("tracking", "field-elsewhere", losses.shift > 0.1 ? losses.shift : 0, Math.exp(-losses.shift), 1),
    ...evidence("satellite-or-aircraft", "line-across", losses.streak, 1, 0, "streaks"),
  ];
}

function ranking(explained: ReadonlyMap<CauseCode, number>): [RankedCause, ...RankedCause[]] {
  const powers = [...explained].map(([cause, loss]) => ({ cause, power: loss ** k.sharpness }));
  const total = powers.reduce((sum, { power }) => sum + power, 0);
  const ranked = powers
    .map(({ cause, power }) => ({ cause, probability: (1 - k.doubt) * (power / total) + k.doubt / causeCodes.length }))
    .sort((a, b) => b.probability - a.probability);
  const [first, ...rest] = ranked;
  return [first, ...rest.filter(({ probability }) => probability >= 0.01)];
}
