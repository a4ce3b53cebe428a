import type { CellSource, NameKind } from "./cell-source.js";

/** Where the compiler finds a name that an earlier cell made. */
export interface NameHome {
  readonly slot: number;
  readonly kind: NameKind;
}

interface Slot {
  /** Names other cells can see; empty: the slot is free. */
  names: ReadonlySet<string>;
  uses: ReadonlySet<number>;
  keep: boolean;
  order: number;
}

const growBy = 16;
/** More old versions of cells than anybody needs: beyond it the types of the oldest are forgotten. */
const mostSlots = 256;

/**
 * The places for cells in the compiler's program. A fixed number of files that always import one another keeps the
 * program's structure, so that the compiler re-uses it whole. A slot is free again when no living name needs it.
 */
export class Slots {
  readonly homes = new Map<string, NameHome>();
  readonly #slots: Slot[] = [];
  #order = 0;

  get count(): number {
    return this.#slots.length;
  }

  /** A free slot for the next cell; it is taken by {@link settle} only. */
  next(): number {
    const free = this.#slots.findIndex(isFree);
    if (free >= 0) return free;
    const first = this.#slots.length;
    for (let i = 0; i < growBy; i++) this.#slots.push({ names: new Set(), uses: new Set(), keep: false, order: 0 });
    return first;
  }

  /** Names in a slot that other cells see. */
  namesIn(slot: number): ReadonlySet<string> {
    return this.#slots[slot]!.names;
  }

  /**
   * A cell has run: its names live on in its slot.
   * @param names - those that exist (a cell that failed half-way has made only some)
   * @returns the slots that have become free
   */
  settle(slot: number, cell: CellSource, names: readonly string[]): number[] {
    for (const name of names) this.homes.set(name, { slot, kind: cell.declared.get(name)! });
    const uses = new Set<number>();
    for (const name of cell.mentioned) {
      const home = this.homes.get(name);
      if (home !== undefined && home.slot !== slot && !cell.declared.has(name)) uses.add(home.slot);
    }
    this.#slots[slot] = { names: new Set(names), uses, keep: cell.augments, order: ++this.#order };
    return this.#prune();
  }

  #prune(): number[] {
    const living = new Set<number>();
    const mark = (slot: number): void => {
      if (living.has(slot)) return;
      living.add(slot);
      for (const used of this.#slots[slot]!.uses) mark(used);
    };
    for (const { slot } of this.homes.values()) mark(slot);
    const current = new Set([...this.homes.values()].map(({ slot }) => slot));
    const old = [...living]
      .filter((slot) => !current.has(slot))
      .sort((a, b) => this.#slots[a]!.order - this.#slots[b]!.order);
    for (const slot of old.slice(0, Math.max(0, living.size - mostSlots))) living.delete(slot);
    const freed: number[] = [];
    this.#slots.forEach((slot, i) => {
      if (living.has(i) || slot.keep || isFree(slot)) return;
      this.#slots[i] = { names: new Set(), uses: new Set(), keep: false, order: 0 };
      freed.push(i);
    });
    return freed;
  }
}

const isFree = ({ names, keep }: Slot) => names.size === 0 && !keep;
