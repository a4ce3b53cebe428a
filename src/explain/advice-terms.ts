import type { CauseCode } from "../terms/causes.js";

/** What to change next time, with the numbers of its reason. Words are made in show/. */
export type Reason =
  | { readonly kind: "start-later" | "stop-earlier"; readonly untilSunDeg: number; readonly atUtc: string }
  | {
      readonly kind: "stay-above";
      readonly filter: string;
      /** Lowest altitude of a kept sub. */
      readonly altitudeDeg: number;
    }
  | {
      readonly kind: "refocus";
      /** How long stars stayed sharp before they had widened. */
      readonly afterMin: number;
      /** How far the sensor, when it follows the air, had cooled by then; NaN: cooled sensor, or not known. */
      readonly afterC: number;
    }
  | { readonly kind: "heat-against-dew"; readonly fromUtc: string }
  | { readonly kind: "cool-sensor"; readonly fromUtc: string; readonly warmerC: number }
  | {
      readonly kind: "avoid-obstruction";
      readonly fromUtc: string;
      /** Where the target stood; NaN: not known. */
      readonly azimuthDeg: number;
      readonly altitudeDeg: number;
    }
  | { readonly kind: "shelter-from-wind"; readonly gusts: number }
  | { readonly kind: "check-tracking"; readonly fromUtc: string }
  | { readonly kind: "shorter-subs"; readonly blurPx: number; readonly longestS: number }
  | {
      readonly kind: "avoid-moon";
      readonly filter: string;
      readonly moonAltitudeDeg: number;
      readonly illumination: number;
    }
  | { readonly kind: "check-files"; readonly files: number };
export type AdviceKind = Reason["kind"];

/** One line of advice. */
export interface Advice {
  readonly cause: CauseCode;
  readonly reason: Reason;
  readonly subs: number;
  /** Effective exposure that the subs lacked against the usual kept ones, min. */
  readonly gainMin: number;
  /** How sure the cause is, by the mean over these subs. */
  readonly probability: number;
}
