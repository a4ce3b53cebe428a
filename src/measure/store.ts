import { closeSync, fstatSync, ftruncateSync, mkdirSync, openSync, readSync, writeSync } from "node:fs";
import { join } from "node:path";
import { measuringVersion } from "./measuring-version.js";
import { type LineKind, nameOfLine, readLine, writeLine } from "./store-line.js";

/** Where measurements are remembered. Nothing it does stops a night: what it cannot do is told in `problems`. */
export interface Store {
  /** What was remembered under a kind and key, or null. */
  find(day: string, kind: LineKind, key: string): string | null;
  /** Remembers, in one write: after it, even a killed process keeps it. */
  keep(day: string, kind: LineKind, key: string, payload: string): void;
  /** What went wrong, for the user. */
  readonly problems: () => readonly string[];
  close(): void;
}

/** Remembers nothing. */
export const noStore: Store = { find: () => null, keep: () => {}, problems: () => [], close: () => {} };

/** A file of the store: lines of one day's subs, only ever appended to. */
interface DayFile {
  readonly path: string;
  /** For reading and appending; null: cannot be used. */
  readonly descriptor: number | null;
  /** Where the line of a kind and key lies, without its newline. */
  readonly lines: Map<string, { readonly at: number; readonly length: number }>;
}

const chunkBytes = 1 << 20;
/** A line is about 10 KB; what is longer than this is damage. */
const longestLine = 1 << 22;
const tornRechecks = 4;
const recheckMs = 25;

/**
 * Opens a folder of remembered measurements: one file a day of subs and measuring version, of checksummed lines that are
 * only ever appended, each in a single write to a file opened for appending, so several processes may share it. A torn
 * last line (a crash) is cut off, a damaged line is skipped.
 * @param folder - made when it is not there
 */
export function openStore(folder: string): Store {
  const days = new Map<string, DayFile>();
  const problems: string[] = [];
  const tell = (text: string) => {
    if (!problems.includes(text)) problems.push(text);
  };
  let writable = true;
  const fileOf = (day: string): DayFile => {
    let file = days.get(day);
    if (file === undefined) {
      file = openDay(folder, day, tell);
      days.set(day, file);
    }
    return file;
  };
  return {
    find(day, kind, key) {
      const { descriptor, lines, path } = fileOf(day);
      const place = lines.get(kind + key);
      if (place === undefined || descriptor === null) return null;
      const line = Buffer.allocUnsafe(place.length);
      const found = readAt(descriptor, line, place.at) === place.length ? readLine(line) : null;
      if (found?.name === kind + key) return found.payload;
      tell(damaged(path));
      return null;
    },
    keep(day, kind, key, payload) {
      const { descriptor } = fileOf(day);
      if (descriptor === null || !writable) return;
      const line = writeLine(kind, key, payload);
      try {
        if (writeSync(descriptor, line) === line.length) return;
        throw new Error("the disk is full");
      } catch (error) {
        // What was cut short is repaired when the file is opened again.
        writable = false;
        tell(`Measurements can no longer be remembered in ${folder}: ${(error as Error).message}. ${elsewhere}`);
      }
    },
    problems: () => problems,
    close() {
      for (const { descriptor } of days.values()) if (descriptor !== null) closeSync(descriptor);
      days.clear();
    },
  };
}

const elsewhere = "Choose another place with --store DIR, or --store none";
const damaged = (path: string) =>
  `A line of ${path} is damaged and was left out; its subs are measured again. To be rid of this note, delete that file`;

function openDay(folder: string, day: string, tell: (text: string) => void): DayFile {
  const path = join(folder, `measured-v${measuringVersion}-${day}.lines`);
  const lines: DayFile["lines"] = new Map();
  try {
    mkdirSync(folder, { recursive: true });
    const descriptor = openSync(path, "a+");
    cutTornEnd(path, descriptor);
    if (!readIndex(descriptor, lines)) tell(damaged(path));
    return { path, descriptor, lines };
  } catch (error) {
    tell(`Measurements cannot be remembered in ${folder}: ${(error as Error).message}. ${elsewhere}`);
    return { path, descriptor: null, lines };
  }
}

/** Notes where each line lies. @returns false when something in it is no line */
function readIndex(descriptor: number, lines: DayFile["lines"]): boolean {
  let sound = true;
  let buffer = Buffer.allocUnsafe(chunkBytes);
  let kept = 0; // bytes of an unfinished line at the start of the buffer
  for (let at = 0; ; ) {
    const got = readSync(descriptor, buffer, kept, buffer.length - kept, at);
    if (got === 0) return sound;
    at += got;
    const filled = kept + got;
    const first = at - filled; // where the buffer starts in the file
    let from = 0;
    for (let end = buffer.indexOf(10, kept); end >= 0 && end < filled; end = buffer.indexOf(10, from)) {
      const name = nameOfLine(buffer, from, end);
      if (name === null) sound = false;
      else lines.set(name, { at: first + from, length: end - from });
      from = end + 1;
    }
    kept = filled - from;
    buffer.copyWithin(0, from, filled);
    if (kept < buffer.length) continue;
    if (buffer.length >= longestLine) {
      sound = false;
      kept = 0; // the rest of it is no line either
    } else buffer = Buffer.concat([buffer], 2 * buffer.length);
  }
}

/**
 * Cuts off a last line without its newline. Another process may be writing that line at this moment, so it is looked at
 * again before it counts as torn. If it is completed between the last look and the cut, that one sub is measured again.
 */
function cutTornEnd(path: string, descriptor: number): void {
  let size = fstatSync(descriptor).size;
  for (let look = 0; ; look++) {
    const whole = endOfLastLine(descriptor, size);
    if (whole === size) return;
    if (look === tornRechecks) {
      const writable = openSync(path, "r+");
      try {
        ftruncateSync(writable, whole);
      } finally {
        closeSync(writable);
      }
      return;
    }
    Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, recheckMs);
    const now = fstatSync(descriptor).size;
    if (now !== size) look = -1;
    size = now;
  }
}

/** Byte behind the last newline, 0 when there is none. */
function endOfLastLine(descriptor: number, size: number): number {
  const piece = Buffer.allocUnsafe(Math.min(size, 1 << 16));
  for (let end = size; end > 0; ) {
    const start = Math.max(0, end - piece.length);
    const got = readAt(descriptor, piece.subarray(0, end - start), start);
    const newline = piece.subarray(0, got).lastIndexOf(10);
    if (newline >= 0) return start + newline + 1;
    end = start;
  }
  return 0;
}

function readAt(descriptor: number, into: Buffer, at: number): number {
  let done = 0;
  while (done < into.length) {
    const got = readSync(descriptor, into, done, into.length - done, at + done);
    if (got === 0) break;
    done += got;
  }
  return done;
}
