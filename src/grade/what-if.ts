import type { FrameTable } from "../terms/frame-table.js";
import { figuresOf, isKept, isStackable, relativeTo, type StackOutcome } from "./frontier.js";
import { gradeNight } from "./grade-night.js";
import type { Group } from "./groups.js";
import type { Limits } from "./limits.js";
import { worthOf } from "./worth.js";

/** What other limits would do to the stack of a group. */
export interface WhatIf {
  readonly group: Group;
  /** Subs of the group. */
  readonly subs: number;
  /** The stack of the subs that the table's verdicts keep; its ratios are 1. null: they keep none. */
  readonly before: StackOutcome | null;
  /** The stack under the new limits, its ratios against `before`, or against itself where there is no `before`. */
  readonly after: StackOutcome | null;
  /** By which fraction the stack would be deeper (negative: less deep), equal weights; NaN when either is missing. */
  readonly deeper: number;
  /** By which fraction its stars would be narrower (negative: wider); NaN when either is missing or has no width. */
  readonly sharper: number;
  /** Rows that would be left out, and rows that would come in, in time. */
  readonly dropped: readonly number[];
  readonly added: readonly number[];
}

/**
 * What a graded night's stacks would be under other limits, group by group, from the table alone: nothing is measured
 * again and the table stays as it is. `before` rests on the table's verdicts, the user's own decisions included; the
 * new verdicts are the grade's alone. The figures hold for stacks of scaled subs with equal weights, as predicted: within 5 % of
 * simulated stacks (tests/recovery/stack.test.ts).
 * @example
 * ```ts
 * import { limitsFor, whatIf } from "nightyield";
 * for (const { subs, after, sharper, deeper } of whatIf(table, limitsFor("detail")))
 *   console.log(`${after?.subs ?? 0} of ${subs} subs, stars ${100 * sharper} % sharper, ${100 * deeper} % deeper`);
 * ```
 */
export function whatIf(table: FrameTable, limits: Limits): WhatIf[] {
  const regraded = gradeNight(table, { limits });
  return regraded.groups.map((group) => {
    const worth = worthOf(table, group, limits);
    const membersBy = (verdict: readonly string[]) =>
      group.rows.flatMap((row, i) => (isKept(verdict[row]) && isStackable(worth, i) ? [i] : []));
    const figures = (members: readonly number[]) =>
      members.length === 0 ? null : figuresOf(table, group, worth, members);
    const before = figures(membersBy(table.verdict));
    const after = figures(membersBy(regraded.table.verdict));
    const reference = before ?? after;
    const relative = (outcome: StackOutcome | null) => outcome && reference && relativeTo(reference, outcome);
    const differing = (from: readonly string[], to: readonly string[]) =>
      group.rows.filter((row) => isKept(from[row]) && !isKept(to[row]));
    return {
      group,
      subs: group.rows.length,
      before: relative(before),
      after: relative(after),
      deeper: before && after ? after.depth / before.depth - 1 : Number.NaN,
      sharper: before && after ? 1 - after.fwhmPx / before.fwhmPx : Number.NaN,
      dropped: differing(table.verdict, regraded.table.verdict),
      added: differing(regraded.table.verdict, table.verdict),
    };
  });
}
