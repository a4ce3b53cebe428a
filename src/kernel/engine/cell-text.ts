import type { CellSource } from "./cell-source.js";
import type { NameHome, Slots } from "./slots.js";

/** The function that a compiled cell hands its names to. */
export const namesFunction = "__names";
/** The object on which a compiled cell leaves the value of its last expression. */
export const resultObject = "__cell";
export const sessionModule = "./__session__";

export const slotModule = (slot: number) => `./__cell_${slot}__`;
/** What the compiler calls a name of one slot, so that each cell keeps the types it was written against. */
export const nameInSlot = (name: string, slot: number) => `${name}$${slot}`;

/** Those of the mentioned names that earlier cells made and this one does not make anew. */
export function neededNames(
  cell: CellSource,
  mentioned: Iterable<string>,
  homes: ReadonlyMap<string, NameHome>,
): Map<string, NameHome> {
  const needed = new Map<string, NameHome>();
  for (const name of mentioned) {
    const home = homes.get(name);
    if (home !== undefined && !cell.declared.has(name)) needed.set(name, home);
  }
  return needed;
}

/** A cell as the compiler sees it: the user's text, unchanged and first, then what ties it to the other cells. */
export function cellText(cell: CellSource, needed: ReadonlyMap<string, NameHome>): string {
  const exports = [...cell.declared.keys()].filter((name) => !cell.exported.has(name));
  const values = [...cell.declared].filter(([, kind]) => kind !== "type").map(([name]) => `()=>${name}`);
  const imports: string[] = [];
  const variables: string[] = [];
  for (const [name, { slot, kind }] of needed) {
    const there = nameInSlot(name, slot);
    imports.push(kind === "variable" ? there : `${there} as ${name}`);
    // An import could not be assigned. An exported ambient variable can, and is compiled to `exports.name`.
    if (kind === "variable") variables.push(`export declare let ${name}:typeof ${there};`);
  }
  return `${cell.code}\nexport{${exports.join(",")}};${namesFunction}(${values.join(",")});${variables.join("")}import{${imports.join(",")}}from"${sessionModule}";`;
}

/** A slot without a cell. It imports what every cell imports, so that filling it leaves the structure as it is. */
export const emptyCellText = `\nexport{};import{}from"${sessionModule}";`;

/** The module through which cells see one another. */
export function sessionText(slots: Slots): string {
  let text = "";
  for (let slot = 0; slot < slots.count; slot++) {
    const names = [...slots.namesIn(slot)].map((name) => `${name} as ${nameInSlot(name, slot)}`);
    text += `export{${names.join(",")}}from"${slotModule(slot)}";\n`;
  }
  return text;
}
