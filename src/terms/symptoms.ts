/**
 * What can be seen in the sub itself. Each symptom carries its numbers; the words are made in show/.
 * One registry: documents, legends and tests read it.
 */
export const symptomRegistry = {
  "few-stars": { short: "few stars", long: "Far fewer stars than the other subs of the group show." },
  "faint-stars": { short: "faint stars", long: "The same stars are dimmer than in the clearest subs of the group." },
  "bright-background": { short: "bright background", long: "The sky background is brighter than the group's." },
  "noisy-background": { short: "noisy background", long: "The background scatters more than its brightness explains." },
  "uneven-background": { short: "uneven background", long: "The background changes across the frame more than usual." },
  "wide-stars": { short: "wide stars", long: "Stars are wider than the group's at the same altitude." },
  "elongated-stars": { short: "elongated stars", long: "Stars are drawn out in one direction." },
  "rotated-corners": {
    short: "rotated corners",
    long: "Stars are drawn out around the centre, more so in the corners.",
  },
  streak: { short: "streak", long: "A bright line crosses the frame (satellite, aircraft or meteor)." },
  saturated: { short: "saturated", long: "Much of the frame is at the sensor's limit." },
  "blocked-area": { short: "blocked area", long: "Part of the frame shows neither stars nor sky." },
  "shifted-field": { short: "shifted field", long: "The frame points somewhere else than the group." },
  unreadable: { short: "unreadable", long: "The file is damaged, foreign or incomplete." },
} as const;
export type SymptomCode = keyof typeof symptomRegistry;
/** The codes of all symptoms. */
export const symptomCodes = Object.keys(symptomRegistry) as readonly SymptomCode[];

/** A symptom that is a measured number beyond a limit. */
export interface MeasuredSymptom {
  readonly code: Exclude<SymptomCode, "unreadable">;
  /** What was measured, in the unit of `column`. */
  readonly value: number;
  /** What comparable subs of the group show. */
  readonly expected: number;
  /** The value from which the symptom counts. */
  readonly limit: number;
  /** The frame-table column that `value`, `expected` and `limit` belong to. */
  readonly column: string;
}

/** A file that could not be read: where, what was found and what to do. */
export interface UnreadableSymptom {
  readonly code: "unreadable";
  readonly offsetBytes: number;
  readonly problem: string;
  readonly remedy: string;
}

export type Symptom = MeasuredSymptom | UnreadableSymptom;
