import { CallError } from "../terms/errors.js";
import {
  type ColumnName,
  columnNames,
  type FrameRow,
  isColumnName,
  type NumberColumnName,
} from "../terms/frame-table.js";
import type { Frames } from "./frames.js";
import { type Cell, type Row, sorted, Table } from "./plain-table.js";

/** By what to group: a column, or names with what to group by. */
export type By = ColumnName | Readonly<Record<string, (frame: FrameRow) => string | number>>;

/** Subs that have something in common, and what. */
export interface FrameGroup {
  readonly key: Readonly<Record<string, string | number>>;
  readonly frames: Frames;
}

/** Groups of subs; every method gives a table with one row a group. Made by {@link Frames.groupBy}. */
export class FrameGroups implements Iterable<FrameGroup> {
  /** In the order of their keys. */
  readonly groups: readonly FrameGroup[];

  constructor(groups: readonly FrameGroup[]) {
    this.groups = groups;
  }

  /** Number of groups. */
  get length(): number {
    return this.groups.length;
  }

  [Symbol.iterator](): Iterator<FrameGroup> {
    return this.groups[Symbol.iterator]();
  }

  /** How many subs each group has. */
  count(): Table {
    return this.summarise({});
  }

  /** The median of columns in each group, without what was not measured. */
  median(...names: readonly NumberColumnName[]): Table {
    return this.#each(names, (frames, name) => frames.median(name));
  }

  /** The mean of columns in each group, without what was not measured. */
  mean(...names: readonly NumberColumnName[]): Table {
    return this.#each(names, (frames, name) => frames.mean(name));
  }

  /** The sum of columns in each group, without what was not measured. */
  sum(...names: readonly NumberColumnName[]): Table {
    return this.#each(names, (frames, name) => frames.sum(name));
  }

  /**
   * A quantile of columns in each group, without what was not measured.
   * @param p - 0 (the smallest) to 1 (the largest)
   */
  quantile(p: number, ...names: readonly NumberColumnName[]): Table {
    return this.#each(names, (frames, name) => frames.quantile(name, p));
  }

  /**
   * What you want to know of each group.
   * @param what - headings with what stands below them, as `{ hours: g => g.kept().sum("exposureS") / 3600 }`
   */
  summarise(what: Readonly<Record<string, (frames: Frames) => Cell>>): Table {
    return new Table(
      this.groups.map(({ key, frames }): Row => {
        const own = Object.entries(what).map(([heading, of]) => [heading, of(frames)] as const);
        return { ...key, frames: frames.length, ...Object.fromEntries(own) };
      }),
    );
  }

  #each(names: readonly NumberColumnName[], of: (frames: Frames, name: NumberColumnName) => number): Table {
    if (names.length === 0) throw new CallError('Say of which column, for example median("fwhmPx")');
    return this.summarise(Object.fromEntries(names.map((name) => [name, (frames: Frames) => of(frames, name)])));
  }
}

/** Row numbers of each group, the groups in the order of their keys. */
export function groupRows(
  frames: Iterable<FrameRow>,
  by: readonly By[],
): { key: Record<string, string | number>; rows: number[] }[] {
  const parts = by.flatMap((one): (readonly [string, (frame: FrameRow) => string | number])[] => {
    if (typeof one !== "string") return Object.entries(one);
    if (!isColumnName(one)) throw new CallError(`There is no column ${one}. Columns: ${columnNames.join(", ")}`);
    return [[one, (frame) => frame[one]]];
  });
  const groups = new Map<string, { key: Record<string, string | number>; rows: number[] }>();
  let row = 0;
  for (const frame of frames) {
    const key = Object.fromEntries(parts.map(([name, of]) => [name, of(frame)]));
    // NaN and null would be the same in JSON, and both mean that nothing is known.
    const id = JSON.stringify(Object.values(key));
    const group = groups.get(id) ?? { key, rows: [] };
    groups.set(id, group);
    group.rows.push(row++);
  }
  // Sorted by the last part first, as sorting keeps the order of equals.
  return parts.reduceRight((list, [name]) => sorted(list, ({ key }) => key[name], "up"), [...groups.values()]);
}
