import { expectationOf } from "../grade/good-part.js";
import { groupsOf } from "../grade/groups.js";
import { median } from "../numbers/quantiles.js";
import type { CauseCode } from "../terms/causes.js";
import { type FrameTable, withColumns } from "../terms/frame-table.js";
import type { Symptom } from "../terms/symptoms.js";
import { causeOfSub } from "./causes-of-sub.js";
import { evidence } from "./causes-shares.js";
import { type Signs, signsOf } from "./causes-signs.js";
import type { CauseOptions, EvidenceCode, NightCauses, SubCause } from "./causes-terms.js";
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
      causeOfRow[row] = causeOfSub(placed, {
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
