/** How a name of a cell is read and, for a variable, written. */
export type Access = readonly [read: () => unknown, write?: (value: unknown) => void];

/** The names that live on, each with the cell that made it last. */
export class Scope {
  readonly #names = new Map<string, Access>();

  /** Names whose values exist; a declaration that was not reached does not. */
  static existing(offered: Readonly<Record<string, Access>>): string[] {
    return Object.keys(offered).filter((name) => {
      try {
        offered[name]![0]();
        return true;
      } catch {
        return false;
      }
    });
  }

  set(name: string, access: Access): void {
    this.#names.set(name, access);
  }

  /** For a name that is a type only from now on. */
  remove(name: string): void {
    this.#names.delete(name);
  }

  /**
   * Lets an object show names of the scope as properties. They always give the newest version, as a notebook's reader
   * expects: whoever mends a function and runs its cell again wants its callers to use it.
   * @param names - property to name
   */
  showOn(target: object, names: Iterable<readonly [property: string, name: string]>): void {
    for (const [property, name] of names) {
      const then = this.#names.get(name);
      const access = () => this.#names.get(name) ?? then;
      Object.defineProperty(target, property, {
        enumerable: true,
        configurable: true,
        get: () => access()?.[0](),
        set: (value: unknown) => access()?.[1]?.(value),
      });
    }
  }
}
