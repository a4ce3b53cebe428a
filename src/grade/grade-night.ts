import { type FrameTable, withColumns } from "../terms/frame-table.js";
import type { Symptom } from "../terms/symptoms.js";
import type { Verdict } from "../terms/verdicts.js";
import { depthOf, stackBurden } from "./depth.js";
import { type Group, groupsOf } from "./groups.js";
import { defaultLimits, type Limits } from "./limits.js";
import { symptomsOf } from "./symptoms-of.js";

/** A night with verdicts. `symptomsOfRow` runs over the rows of the table. */
export interface GradedNight {
  readonly table: FrameTable;
  readonly symptomsOfRow: readonly (readonly Symptom[])[];
  readonly groups: readonly Group[];
}

/**
 * Grades every light frame within its own group and fills verdict, symptoms, weight and effective exposure.
 * Rows of other kinds stay `unjudged`; symptoms that rows bring along (unreadable files) are kept.
 * @param given - symptoms known before grading, by row
 * @param starlight - starlight of each row relative to the others of its group, extinction included; NaN: not known
 */
export function gradeNight(
  table: FrameTable,
  {
    given = [],
    starlight = [],
    limits = defaultLimits,
  }: {
    readonly given?: readonly (readonly Symptom[])[];
    readonly starlight?: ArrayLike<number>;
    readonly limits?: Limits;
  } = {},
): GradedNight {
  const verdict: Verdict[] = new Array<Verdict>(table.rows).fill("unjudged");
  const symptomsOfRow: Symptom[][] = Array.from({ length: table.rows }, (_, row) => [...(given[row] ?? [])]);
  const effectiveExposureS = new Float64Array(table.rows).fill(Number.NaN);
  const weight = new Float64Array(table.rows).fill(Number.NaN);
  const groups = groupsOf(table);
  for (const group of groups) {
    const depth = depthOf(
      group.exposureS,
      group.rows.map((row) => table.noiseAdu[row]!),
      group.rows.map((row) => starlight[row] ?? Number.NaN),
    );
    const symptoms = symptomsOf(table, group, limits);
    const burden = stackBurden(depth.weight);
    const measured = group.rows.filter((row) => table.starCount[row]! >= 0).length;
    group.rows.forEach((row, i) => {
      symptomsOfRow[row]!.push(...symptoms[i]!);
      effectiveExposureS[row] = depth.effectiveExposureS[i]!;
      weight[row] = depth.weight[i]!;
      if (measured < limits.fewestFrames || !(depth.weight[i]! >= 0)) return;
      verdict[row] = judge(symptomsOfRow[row]!, burden[i]!, limits);
      if (verdict[row] !== "keep" && symptomsOfRow[row]!.length === 0) {
        // Nothing stands out by itself, yet the sub costs the stack too much: its noise is the reason.
        const noise = table.noiseAdu[row]!;
        const limit = noise * Math.sqrt(limits.burden.borderline / burden[i]!);
        const expected = noise * Math.sqrt(depth.weight[i]!);
        symptomsOfRow[row]!.push({ code: "noisy-background", value: noise, expected, limit, column: "noiseAdu" });
      }
    });
  }
  const symptoms = symptomsOfRow.map((list) => list.map(({ code }) => code).join(";"));
  return { table: withColumns(table, { verdict, symptoms, effectiveExposureS, weight }), symptomsOfRow, groups };
}

/** The verdict follows what the sub does to the stack, then what would spoil the stars in it. */
function judge(symptoms: readonly Symptom[], burden: number, limits: Limits): Verdict {
  let doubtful = burden > limits.burden.borderline;
  if (burden > limits.burden.drop) return "drop";
  for (const symptom of symptoms) {
    if (symptom.code === "unreadable") return "unjudged";
    const { value, expected } = symptom;
    switch (symptom.code) {
      case "few-stars":
        if (value < limits.starCount.drop * expected) return "drop";
        doubtful = true;
        break;
      case "wide-stars":
        if (value > limits.fwhm.drop * expected) return "drop";
        doubtful = true;
        break;
      case "elongated-stars":
        if (value > Math.max(limits.eccentricity.drop, symptom.limit)) return "drop";
        doubtful = true;
        break;
      case "blocked-area":
        if (value > limits.blocked.drop) return "drop";
        doubtful = true;
        break;
      case "saturated":
        if (value > limits.saturated.drop) return "drop";
        break;
      case "shifted-field":
        if (value > (limits.shift.drop / limits.shift.symptom) * symptom.limit) return "drop";
        doubtful = true;
        break;
      default: // the others are already in the burden, or (a streak) are taken out by a clipped stack
        break;
    }
  }
  return doubtful ? "borderline" : "keep";
}
