import type { CauseCode } from "../terms/causes.js";
import type { ColumnName, FrameTable } from "../terms/frame-table.js";

/**
 * What a sub lost, in natural logarithms of its effective exposure for point sources (0.69: half of it), against the
 * better subs of its group. 0: nothing, or not measured.
 */
export interface Losses {
  /** Starlight beyond what clear air takes. */
  readonly light: number;
  /** Noise of the background. */
  readonly noise: number;
  /** Extinction and seeing that the airmass predicts. */
  readonly air: number;
  /** Star width beyond what airmass and elongation explain. */
  readonly width: number;
  /** Elongation, and the width that comes with it. */
  readonly elongation: number;
  /** Part of the frame that is blocked. */
  readonly blocked: number;
  /** Part of the field that is not in the frame. */
  readonly shift: number;
  /** Streaks; nominal, as most of a streak is rejected when subs are stacked. */
  readonly streak: number;
}
export type LossCode = keyof Losses;

/** What speaks for or against a cause. Words are made in show/. */
export const evidenceCodes = [
  "light-lost",
  "background-as-predicted",
  "sun-above-night",
  "moon-up",
  "airmass",
  "stars-wider",
  "stars-round",
  "stars-elongated",
  "stars-doubled",
  "wider-as-dimmer",
  "width-and-light-apart",
  "width-grows-with-loss",
  "loss-changes-from-sub-to-sub",
  "minutes-to-dim",
  "width-follows-time",
  "field-moves-along-elongation",
  "field-displaced",
  "elongated-like-neighbours",
  "rotation-predicted",
  "sensor-warmer",
  "more-hot-pixels",
  "part-blocked",
  "field-elsewhere",
  "line-across",
  "unreadable",
] as const;
export type EvidenceCode = (typeof evidenceCodes)[number];

/** One observation: its number, what would be usual, and which way and how strongly it turns the odds. */
export interface CauseEvidence {
  readonly code: EvidenceCode;
  readonly cause: CauseCode;
  readonly speaks: "for" | "against";
  readonly value: number;
  /** What the group's good subs show, or the value from which it counts; NaN: none. */
  readonly usual: number;
  /** Change of the log-odds, or the loss it explains; positive. Orders evidence, nothing more. */
  readonly strength: number;
  /** Column of the frame table that `value` belongs to; null: derived. */
  readonly column: ColumnName | null;
}

/** A cause with its probability. */
export interface RankedCause {
  readonly cause: CauseCode;
  readonly probability: number;
}

/** What most likely spoiled a sub. */
export interface SubCause extends RankedCause {
  readonly row: number;
  /** All causes with a probability of 1 % or more, the likeliest first. */
  readonly ranked: readonly RankedCause[];
  readonly losses: Losses;
  /** Strongest first: what speaks for the cause, and what against it or for its nearest rival. */
  readonly evidence: readonly CauseEvidence[];
}

/** Causes of a night. */
export interface NightCauses {
  /** With the columns `cause` and `causeProbability` filled. */
  readonly table: FrameTable;
  /** By row; null: a plain keep, or not a light frame. */
  readonly causeOfRow: readonly (SubCause | null)[];
}

/** What explaining may be told. */
export interface CauseOptions {
  /** Zenith of the dark sky, V mag/arcsec2: sets how much moonlight and twilight are expected to show. Default 20.5. */
  readonly darkZenithMag?: number;
  /** Extinction of clear air, mag an airmass. Default 0.25. */
  readonly extinctionMagPerAirmass?: number;
}
