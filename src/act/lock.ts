import { hostname } from "node:os";
import { basename, dirname, join } from "node:path";
import { randomStream } from "../numbers/random.js";
import { CannotError } from "../terms/errors.js";
import { codeOf, disk, type FileOps } from "./file-ops.js";

/** Locks that this process holds. */
const held = new Set<string>();
const host = hostname().replace(/[^\w-]/g, "_");

/**
 * Does something while no other nightyield does it.
 * @param path - of the lock; its files have this name with process and machine behind it
 * @param patienceMs - how long to wait for another owner
 * @throws CannotError when another process holds the lock for longer
 */
export function withLock<T>(path: string, patienceMs: number, work: () => T, ops: FileOps = disk): T {
  const release = takeLock(path, patienceMs, ops);
  try {
    return work();
  } finally {
    release();
  }
}

/**
 * Takes the lock and gives the function that releases it.
 *
 * Whoever wants the lock puts up a file that carries its name and then looks for files of others: of two, at least the
 * later one sees the other and steps back. A file whose process has ended (kill, power cut) may be removed by anybody, as
 * nobody else ever uses that name.
 */
export function takeLock(path: string, patienceMs: number, ops: FileOps = disk): () => void {
  const own = `${path}.${process.pid}.${host}`;
  if (held.has(own)) throw busy(own);
  const random = randomStream(process.pid, path);
  for (let waitedMs = 0; ; ) {
    let other = liveOther(path, own, ops);
    if (other === null) {
      putUp(own, ops);
      other = liveOther(path, own, ops);
      if (other === null) {
        held.add(own);
        return () => {
          held.delete(own);
          removeQuietly(own, ops);
        };
      }
      removeQuietly(own, ops);
    }
    if (waitedMs >= patienceMs) throw busy(other);
    // Different for each process, so that two do not step back in step for ever.
    const pauseMs = random.between(5, 60);
    Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, pauseMs);
    waitedMs += pauseMs;
  }
}

function putUp(own: string, ops: FileOps): void {
  try {
    if (ops.look(own) !== null) ops.remove(own); // of an earlier process with our number
    ops.writeNew(own, "");
  } catch (cause) {
    throw new CannotError(`Cannot write ${own}: ${(cause as Error).message}. Make that folder writable`, { cause });
  }
}

/** The lock file of another process that still runs; those of ended ones are removed. */
function liveOther(path: string, own: string, ops: FileOps): string | null {
  const start = `${basename(path)}.`;
  for (const name of ops.list(dirname(path))) {
    if (!name.startsWith(start)) continue;
    const file = join(dirname(path), name);
    if (file === own) continue;
    const [id, machine] = name.slice(start.length).split(".");
    if (machine !== host || isRunning(Number(id))) return file;
    removeQuietly(file, ops);
  }
  return null;
}

function isRunning(id: number): boolean {
  try {
    process.kill(id, 0);
    return true;
  } catch (error) {
    return codeOf(error) !== "ESRCH";
  }
}

function removeQuietly(file: string, ops: FileOps): void {
  try {
    ops.remove(file);
  } catch {
    // Its process will have ended: the next one removes it.
  }
}

const busy = (file: string) =>
  new CannotError(`Another nightyield is at work here. Wait until it is done; if none is running, remove ${file}`);
