import { CallError } from "../terms/errors.js";
import type { FrameTable } from "../terms/frame-table.js";
import type { Group } from "./groups.js";
import { defaultLimits, type Limits } from "./limits.js";
import { stackFigure } from "./stack.js";
import { stackFwhmPx } from "./stack-width.js";
import { recordedWidth, type Worth, worthOf } from "./worth.js";

/** A stack of some of a group's subs. Ratios are against the stack of the subs that the verdicts keep. */
export interface StackOutcome {
  readonly subs: number;
  readonly exposureS: number;
  /** Exposure under the group's best conditions with the same depth of extended light, best weights, s. */
  readonly effectiveS: number;
  /** Signal to noise of faint extended light with equal weights. */
  readonly depth: number;
  /** The same when each sub has its best weight. */
  readonly depthWeighted: number;
  /** Peak of a star over the noise, equal weights. */
  readonly starPeak: number;
  /** The figure of the purpose (see `limits.merit`), equal weights. */
  readonly merit: number;
  /** Width of stars, equal weights, pixel width removed. */
  readonly fwhmPx: number;
  readonly fwhmArcsec: number;
}

/** A cut: the best subs for the purpose, down to a limit. */
export interface Cut extends StackOutcome {
  /** Part of the group's measured subs that is in the stack. */
  readonly keptFraction: number;
  /** Row of the poorest sub that is in it. */
  readonly poorestRow: number;
}

/** What other cuts would gain and lose. */
export interface Frontier {
  /** The subs that the verdicts keep (keep and borderline): all its ratios are 1. */
  readonly kept: StackOutcome;
  /** All measured subs that have any starlight. */
  readonly all: StackOutcome;
  /** From the strictest to the most generous cut. */
  readonly cuts: readonly Cut[];
}

export interface FrontierOptions {
  /** As they were given to `gradeNight`. */
  readonly limits?: Limits;
  /** Most cuts to give, 2 and more. */
  readonly steps?: number;
}

/**
 * What the stack of a group would be with other cuts. Subs are ordered by what they are worth for the purpose; those with
 * a spoiled field (blocked, or pointing elsewhere) come last.
 * @param table - a graded table
 * @returns null when the verdicts keep no sub of the group
 * @throws CallError when fewer than two steps are asked for
 * @example
 * ```ts
 * import { frontier, gradeNight, limitsFor } from "nightyield";
 * const limits = limitsFor("detail");
 * const { table, groups } = gradeNight(measured, { limits });
 * for (const cut of frontier(table, groups[0], { limits })!.cuts) console.log(cut.subs, cut.depth, cut.fwhmArcsec);
 * ```
 */
export function frontier(
  table: FrameTable,
  group: Group,
  { limits = defaultLimits, steps = 40 }: FrontierOptions = {},
): Frontier | null {
  if (!(steps >= 2)) throw new CallError(`Cannot draw a frontier of ${steps} steps. Give 2 or more`);
  const worth = worthOf(table, group, limits);
  const able = group.rows.flatMap((_, i) => (isStackable(worth, i) ? [i] : []));
  const value = (i: number) => worth.weight[i] * worth.signal[i] - (worth.whole[i] ? 0 : 1e9);
  const order = able.sort((a, b) => value(b) - value(a));
  const kept = order.filter((i) => isKept(table.verdict[group.rows[i]]));
  if (kept.length === 0) return null;
  const reference = figuresOf(table, group, worth, kept);
  const counts = new Set(
    Array.from({ length: steps }, (_, step) => Math.max(1, Math.round(((step + 1) * order.length) / steps))),
  );
  const outcome = (members: readonly number[]) => relativeTo(reference, figuresOf(table, group, worth, members));
  return {
    kept: outcome(kept),
    all: outcome(order),
    cuts: [...counts].map((subs) => ({
      ...outcome(order.slice(0, subs)),
      keptFraction: subs / order.length,
      poorestRow: group.rows[order[subs - 1]],
    })),
  };
}

export const isKept = (verdict: string | undefined): boolean => verdict === "keep" || verdict === "borderline";

/** Whether a sub has any measured starlight, so that it can be scaled to the others. */
export const isStackable = ({ variance }: Worth, i: number): boolean => variance[i] > 0 && variance[i] < 1e12;

/** The outcome of a stack of the given members, figures not yet relative. */
export function figuresOf(table: FrameTable, group: Group, worth: Worth, members: readonly number[]): StackOutcome {
  const { variance, signal, weight, fwhmPx } = worth;
  const ones = new Float64Array(variance.length).fill(1);
  const extended = { signal: ones, variance };
  const peak = fwhmPx.map((width) => (width > 0 ? recordedWidth(width) ** -2 : Number.NaN));
  const width = stackFwhmPx(
    members.map((i) => fwhmPx[i]),
    members.map(() => 1),
  );
  const scale = table.pixelScaleArcsec[group.rows[members[0]]];
  return {
    subs: members.length,
    exposureS: members.length * group.exposureS,
    effectiveS: members.reduce((sum, i) => sum + weight[i], 0) * group.exposureS,
    depth: stackFigure(extended, members),
    depthWeighted: stackFigure(extended, members, weight),
    starPeak: stackFigure({ signal: peak, variance }, members),
    merit: stackFigure({ signal, variance }, members),
    fwhmPx: width,
    fwhmArcsec: width * scale,
  };
}

/** The same with its figures relative to those of a reference. */
export function relativeTo(reference: StackOutcome, outcome: StackOutcome): StackOutcome {
  return {
    ...outcome,
    depth: outcome.depth / reference.depth,
    depthWeighted: outcome.depthWeighted / reference.depth,
    starPeak: outcome.starPeak / reference.starPeak,
    merit: outcome.merit / reference.merit,
  };
}

/** A stack worth telling of, and how it is made. */
export interface TellingStack extends StackOutcome {
  readonly stack: "kept" | "all" | "best half" | "sharp";
}

/** `sharp` gives up to this part of the depth of the kept subs away. */
const mostDepthLost = 0.1;

/**
 * A frontier in three or four stacks: that of the verdicts, all subs, the best half, and `sharp`: the strictest cut that
 * loses less than 10 % of the depth of the verdicts' stack (left out where no cut keeps so much).
 * @example
 * ```ts
 * import { frontierSummary, openNight } from "nightyield";
 * const { frontiers } = await openNight("nightyield-out/march14");
 * for (const found of frontiers) if (found !== null) console.log(frontierSummary(found).map(({ stack }) => stack).join(", "));
 * ```
 */
export function frontierSummary({ kept, all, cuts }: Frontier): TellingStack[] {
  const half = cuts.reduce((a, b) => (Math.abs(b.keptFraction - 0.5) < Math.abs(a.keptFraction - 0.5) ? b : a));
  const sharp = cuts.find(({ depth }) => depth > 1 - mostDepthLost);
  return [
    { ...kept, stack: "kept" },
    { ...all, stack: "all" },
    { ...stackOf(half), stack: "best half" },
    ...(sharp === undefined ? [] : [{ ...stackOf(sharp), stack: "sharp" as const }]),
  ];
}

const stackOf = ({ keptFraction: _, poorestRow: __, ...outcome }: Cut): StackOutcome => outcome;
