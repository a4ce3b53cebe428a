import { median, quantile } from "../numbers/quantiles.js";
import { type FrameTable, withColumns } from "../terms/frame-table.js";
import type { Symptom, SymptomCode } from "../terms/symptoms.js";
import type { Verdict } from "../terms/verdicts.js";
import { expectationsOf } from "./expectations.js";
import { isKept } from "./frontier.js";
import { type Group, groupsOf } from "./groups.js";
import { judge, reasonOf, usualOf } from "./judge.js";
import { defaultLimits, type Limits } from "./limits.js";
import { effectsOn, worthKeeping } from "./stack.js";
import type { MatchedLight } from "./starlight.js";
import { symptomsOf } from "./symptoms-of.js";
import { type Worth, worthOf } from "./worth.js";

/**
 * What each sub does to the stack, by row of the table; NaN: not known, or not a light frame, or partly blocked (the
 * figures hold for the whole field).
 */
export interface Gains {
  /** Exposure under the group's best conditions that would do as much for the purpose, s. */
  readonly worthS: Float64Array;
  /** Burden on the best equal-weight stack: above 1 the sub costs more than it gives. */
  readonly burden: Float64Array;
  /** Fraction by which the sub raises (negative: lowers) the purpose's figure of an equal-weight stack of the subs kept. */
  readonly equalWeights: Float64Array;
  /** The same with the best weights. */
  readonly bestWeights: Float64Array;
}

/** A night with verdicts. `symptomsOfRow` runs over the rows of the table. */
export interface GradedNight {
  readonly table: FrameTable;
  readonly symptomsOfRow: readonly (readonly Symptom[])[];
  readonly groups: readonly Group[];
  readonly gains: Gains;
}

/** What grading may be told. */
export interface GradeOptions {
  /** Symptoms known before grading, by row. */
  readonly given?: readonly (readonly Symptom[])[];
  /**
   * Starlight of each row relative to the others of its group, extinction included; NaN: not matched. Left out: the
   * table's transparency, as of an earlier grading.
   */
  readonly starlight?: ArrayLike<number>;
  /** Standard error of `starlight`. */
  readonly starlightError?: ArrayLike<number>;
  readonly limits?: Limits;
}

/**
 * Grades every light frame within its own group and fills verdict, symptoms, weight, effective exposure and
 * transparency. Rows of other kinds stay `unjudged`; symptoms that rows bring along (unreadable files) are kept.
 *
 * A graded table can be graded again with other limits without measuring anything: see `limitsFor`.
 * @example
 * ```ts
 * import { gradeNight, limitsFor } from "nightyield";
 * const { table } = gradeNight(measured, { limits: limitsFor("detail") });
 * console.log(table.verdict.filter((verdict) => verdict === "drop").length);
 * ```
 */
export function gradeNight(table: FrameTable, options: GradeOptions = {}): GradedNight {
  const { given = [], starlight, starlightError, limits = defaultLimits } = options;
  const matched: MatchedLight | undefined = starlight && {
    starlight,
    starlightError: starlightError ?? new Float64Array(table.rows).fill(Number.NaN),
  };
  const verdict: Verdict[] = new Array<Verdict>(table.rows).fill("unjudged");
  const symptomsOfRow: Symptom[][] = Array.from({ length: table.rows }, (_, row) => [...(given[row] ?? [])]);
  const empty = () => new Float64Array(table.rows).fill(Number.NaN);
  const columns = {
    effectiveExposureS: empty(),
    weight: empty(),
    transparency: empty(),
    transparencyError: empty(),
  };
  const gains = { worthS: empty(), burden: empty(), equalWeights: empty(), bestWeights: empty() };
  const groups = groupsOf(table);
  for (const group of groups) {
    const worth = worthOf(table, group, limits, matched);
    const expected = expectationsOf(table, group);
    const symptoms = symptomsOf(table, group, worth, expected, limits);
    const crowded = crowdedOf(table, group, worth, limits);
    const spoiled = symptoms.map((found, i) => judge(found, 0, 0, limits, crowded[i]) === "drop");
    const kept = worthKeeping(
      worth,
      spoiled.map((bad, i) => !bad && worth.whole[i]),
    );
    const { burden } = effectsOn(worth, kept);
    const usual = usualOf(table, group, worth, kept);
    const judged = canBeJudged(table, group, worth, limits);
    group.rows.forEach((row, i) => {
      symptomsOfRow[row].push(...symptoms[i]);
      columns.weight[row] = worth.weight[i];
      columns.effectiveExposureS[row] = worth.weight[i] * group.exposureS;
      columns.transparency[row] = worth.starlight.transparency[i];
      columns.transparencyError[row] = worth.starlight.transparencyError[i];
      if (!judged || symptomsOfRow[row].some(({ code }) => code === "unreadable")) return;
      if (!(worth.weight[i] >= 0)) return;
      verdict[row] = judge(symptoms[i], burden[i], worth.relativeError[i], limits, crowded[i]);
      if (!(burden[i] > limits.burden.borderline)) return;
      const own = {
        noiseAdu: table.noiseAdu[row],
        expectedFwhmPx: expected.width.expected * expected.seeing[i],
        burden: burden[i],
      };
      const reason = reasonOf(worth, usual, i, own, limits);
      if (!symptoms[i].some(({ code }) => code === reason.code || coveredBy[reason.code]?.includes(code)))
        symptomsOfRow[row].push(reason);
    });
    const inStack = group.rows.flatMap((row, i) => (isKept(verdict[row]) ? [i] : []));
    const effects = effectsOn(worth, inStack.length > 0 ? inStack : kept);
    const best = bestWorth(worth);
    group.rows.forEach((row, i) => {
      gains.worthS[row] = (worth.weight[i] * worth.signal[i] * group.exposureS) / best;
      if (table.blockedFraction[row] > limits.blocked.symptom) return;
      gains.burden[row] = burden[i];
      gains.equalWeights[row] = effects.gainEqualWeights[i];
      gains.bestWeights[row] = effects.gainBestWeights[i];
    });
  }
  const symptoms = symptomsOfRow.map((list) => list.map(({ code }) => code).join(";"));
  return { table: withColumns(table, { verdict, symptoms, ...columns }), symptomsOfRow, groups, gains };
}

/** More stars than those subs show that have the group's stars and no streak: some may be pieces of a streak. */
function crowdedOf(table: FrameTable, { rows }: Group, { starlight }: Worth, limits: Limits): boolean[] {
  const plain = rows.filter((row, i) => starlight.from[i] === "stars" && !(table.streaks[row] > 0));
  const usual = median(plain.map((row) => table.starCount[row]));
  const many = Math.max(limits.starCount.crowded * usual, usual + 3 * Math.sqrt(usual));
  return rows.map((row) => table.starCount[row] > many);
}

/** Symptoms that say the same as a reason for much burden. */
const coveredBy: Readonly<Partial<Record<SymptomCode, readonly SymptomCode[]>>> = {
  "faint-stars": ["few-stars"],
  "noisy-background": ["bright-background"],
};

/** Enough subs were measured, and there is something to compare them by. */
function canBeJudged(table: FrameTable, { rows }: Group, { starlight }: Worth, limits: Limits): boolean {
  const measured = rows.filter((row) => table.starCount[row] >= 0 && table.noiseAdu[row] > 0).length;
  const compared = starlight.from.filter((from) => from !== "nothing").length;
  return measured >= limits.fewestFrames && 2 * compared > rows.length;
}

/** Worth of the best tenth, so that worth is counted as exposure under the best conditions. */
function bestWorth({ weight, signal, whole }: Worth): number {
  const worth = weight.map((w, i) => w * signal[i]);
  const sound = worth.filter((_, i) => whole[i]);
  return quantile(sound.some(Number.isFinite) ? sound : worth, 0.9);
}
