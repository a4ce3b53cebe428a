// Disks that fail: FileOps around the real ones.
import { readFileSync, writeFileSync } from "node:fs";
import { disk, type FileOps } from "../../src/act/file-ops.js";

/** The process ends here. */
export class Crash extends Error {
  override readonly name = "Crash";
}

type Name = keyof FileOps;
const names = Object.keys(disk) as Name[];

/** Wraps every operation: `before` may throw instead of letting it happen. */
function wrapped(base: FileOps, before: (name: Name, args: readonly unknown[]) => void): FileOps {
  const ops: Record<string, unknown> = {};
  for (const name of names) {
    const real = base[name] as (...args: readonly unknown[]) => unknown;
    ops[name] = (...args: readonly unknown[]) => {
      before(name, args);
      return real(...args);
    };
  }
  return ops as unknown as FileOps;
}

/** The error that the system would give. */
export function systemError(code: string, what: string): Error {
  return Object.assign(new Error(`${code}: made to fail, ${what}`), { code });
}

/** Operations that leave half their work behind when they are cut off. */
function halfDone(name: Name, args: readonly unknown[]): void {
  if (name === "append") disk.append(args[0] as string, (args[1] as string).slice(0, -5), "unsynced");
  if (name === "writeNew") disk.writeNew(args[0] as string, (args[1] as string).slice(0, 20));
  if (name === "copyNew") {
    const bytes = readFileSync(args[0] as string);
    writeFileSync(args[1] as string, bytes.subarray(0, bytes.length / 2), { flag: "wx" });
  }
}

/** Stops at the n-th operation that changes something, as a killed process does; `calls` tells how many there were. */
export function crashingDisk(n: number, base: FileOps = disk): { ops: FileOps; calls: () => number } {
  let calls = 0;
  const ops = wrapped(base, (name, args) => {
    if (!changes.has(name)) {
      if (calls >= n) throw new Crash(); // a dead process does not look either
      return;
    }
    if (++calls < n) return;
    if (calls === n) halfDone(name, args);
    throw new Crash();
  });
  return { ops, calls: () => calls };
}

/** Lets the n-th operation fail (and, when `lasting`, every later one of the same kind) with a system error. */
export function failingDisk(
  n: number,
  code: string,
  lasting: boolean,
  base: FileOps = disk,
): { ops: FileOps; calls: () => number } {
  let calls = 0;
  let kind: Name | null = null;
  const ops = wrapped(base, (name, args) => {
    if (name === "freeBytes") return; // gives null by itself
    if (++calls === n) {
      kind = name;
      // A real copy that runs out of room leaves nothing, a real append may leave a piece.
      if (name === "append") halfDone(name, args);
      throw systemError(code, name);
    }
    if (lasting && kind === name) throw systemError(code, name);
  });
  return { ops, calls: () => calls };
}

export const changes: ReadonlySet<Name> = new Set<Name>([
  "makeFolder",
  "removeFolder",
  "copyNew",
  "setTime",
  "setLinkTime",
  "sync",
  "syncFolder",
  "link",
  "symlink",
  "rename",
  "remove",
  "writeNew",
  "append",
  "truncate",
]);

/** DEST on another disk: no name can be given from one to the other. */
export const twoDisks = (dest: string): FileOps =>
  wrapped(disk, (name, [from, to]) => {
    if ((name === "link" || name === "rename") && (from as string).startsWith(dest) !== (to as string).startsWith(dest))
      throw systemError("EXDEV", name);
  });

/** A disk without second names, as memory cards have. */
export const noHardLinks: FileOps = wrapped(disk, (name) => {
  if (name === "link") throw systemError("EPERM", name);
});
