import { setFlagsFromString } from "node:v8";
import { runInNewContext } from "node:vm";

/** Garbage that may pile up between two cells. */
const mostGarbageBytes = 64e6;
let collect: (() => void) | undefined;
/** What was in use after the last collection; undefined before the first cell has shown what the compiler needs. */
let heldBytes: number | undefined;

/**
 * Collects garbage when much has piled up since the last time; called between cells. V8 by itself lets half a gigabyte
 * gather, as compiling a cell leaves objects that live just long enough to count as old.
 */
export function collectGarbage(): void {
  const { heapUsed } = process.memoryUsage();
  heldBytes ??= heapUsed;
  if (heapUsed < heldBytes + mostGarbageBytes) return;
  if (collect === undefined) {
    setFlagsFromString("--expose-gc");
    collect = runInNewContext("gc") as () => void;
  }
  collect();
  heldBytes = process.memoryUsage().heapUsed;
}
