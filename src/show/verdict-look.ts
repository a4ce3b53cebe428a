import type { Verdict } from "../terms/verdicts.js";

/** How a verdict looks everywhere: one colour, one shape, one sign, so that it can be told without seeing colours. */
export interface VerdictLook {
  /** CSS variable of the colour; the page gives it one value for light, one for dark. */
  readonly colour: string;
  /** Name of the shape in the chart library. */
  readonly symbol: string;
  /** The same shape as a character. */
  readonly sign: string;
}

/** Shapes differ in outline and filling, so they stay apart when printed in grey. */
export const verdictLooks: Readonly<Record<Verdict, VerdictLook>> = {
  keep: { colour: "var(--keep)", symbol: "circle", sign: "\u25cf" },
  borderline: { colour: "var(--borderline)", symbol: "diamond-open", sign: "\u25c7" },
  drop: { colour: "var(--drop)", symbol: "x", sign: "\u2716" },
  unjudged: { colour: "var(--unjudged)", symbol: "square-open", sign: "\u25a1" },
};
