import type { CauseCode } from "../terms/causes.js";

/** How a cause looks in a chart: hatching that prints in grey, and one colour of three, by where the cause lies. */
export interface CauseLook {
  /** Name of the hatching in the chart library; empty: plain. */
  readonly pattern: "" | "/" | "\\" | "x" | "-" | "|" | "+" | ".";
  /** Part of the bar that the hatching covers. */
  readonly solidity: number;
  /** CSS variable of the colour. */
  readonly colour: string;
  /** A character that stands for it in texts. */
  readonly sign: string;
}

/** The same hatching comes thin and bold. */
const [thin, bold] = [0.25, 0.6];
/** Sky in one colour, telescope in another, place and files in a third; within each the hatching tells them apart. */
const [sky, telescope, other] = ["var(--cause-sky)", "var(--cause-telescope)", "var(--cause-other)"];

export const causeLooks: Readonly<Record<CauseCode, CauseLook>> = {
  cloud: { pattern: "x", solidity: bold, colour: sky, sign: "\u25a9" },
  twilight: { pattern: "-", solidity: thin, colour: sky, sign: "\u25a4" },
  moonlight: { pattern: ".", solidity: thin, colour: sky, sign: "\u25cc" },
  "low-altitude": { pattern: "|", solidity: thin, colour: sky, sign: "\u25a5" },
  focus: { pattern: "/", solidity: thin, colour: telescope, sign: "\u25a8" },
  wind: { pattern: "\\", solidity: thin, colour: telescope, sign: "\u25a7" },
  tracking: { pattern: "-", solidity: bold, colour: telescope, sign: "\u25ac" },
  "field-rotation": { pattern: "+", solidity: thin, colour: telescope, sign: "\u25a6" },
  dew: { pattern: ".", solidity: bold, colour: telescope, sign: "\u2234" },
  "warm-sensor": { pattern: "|", solidity: bold, colour: telescope, sign: "\u25ae" },
  obstruction: { pattern: "", solidity: 1, colour: other, sign: "\u25a0" },
  "satellite-or-aircraft": { pattern: "/", solidity: bold, colour: other, sign: "\u2571" },
  "bad-file": { pattern: "x", solidity: thin, colour: other, sign: "\u22a0" },
  unknown: { pattern: "+", solidity: bold, colour: other, sign: "?" },
};
