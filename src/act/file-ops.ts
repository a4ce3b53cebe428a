import { createHash } from "node:crypto";
import {
  accessSync,
  closeSync,
  constants,
  copyFileSync,
  fsyncSync,
  linkSync,
  lstatSync,
  lutimesSync,
  mkdirSync,
  openSync,
  readdirSync,
  readFileSync,
  readlinkSync,
  readSync,
  realpathSync,
  renameSync,
  rmdirSync,
  statfsSync,
  statSync,
  symlinkSync,
  truncateSync,
  unlinkSync,
  utimesSync,
  writeSync,
} from "node:fs";

/** What stands at a path. */
export interface FileFacts {
  readonly kind: "file" | "folder" | "symlink" | "other";
  /** Device and inode: two names with the same pair are one file. */
  readonly dev: bigint;
  readonly ino: bigint;
  /** How many names the file has. */
  readonly names: number;
  readonly sizeBytes: number;
  /** Time of the last change of the content, nanoseconds since 1970. */
  readonly mtimeNs: bigint;
}

/**
 * Every touch of the disk that acting on subs needs, so that tests can make any of them fail. Errors are those of the
 * system, with a `code` such as `ENOSPC`.
 */
export interface FileOps {
  /** What stands at the path itself; null: nothing. */
  look(path: string): FileFacts | null;
  /** What the path leads to, symbolic links followed; null: nothing. */
  lookThrough(path: string): FileFacts | null;
  realPath(path: string): string;
  readLink(path: string): string;
  /** @throws when the folder's entries may not be changed */
  checkWritable(folder: string): void;
  /** Free bytes where the path lies; null: the file system does not say. */
  freeBytes(path: string): number | null;
  readText(path: string): string;
  list(folder: string): string[];
  /** SHA-256 of all bytes, hexadecimal. */
  sha256(path: string): string;
  makeFolder(path: string): void;
  removeFolder(path: string): void;
  /** Copies all bytes to a name that does not exist yet; shares blocks where the file system can. */
  copyNew(from: string, to: string): void;
  /** To the microsecond: Node takes times as doubles of seconds. */
  setTime(path: string, mtimeNs: bigint): void;
  setLinkTime(path: string, mtimeNs: bigint): void;
  sync(path: string): void;
  syncFolder(path: string): void;
  /** A second name; fails with EEXIST when it is taken. */
  link(from: string, to: string): void;
  symlink(target: string, to: string): void;
  /** Replaces what stands at `to`. */
  rename(from: string, to: string): void;
  remove(path: string): void;
  /** Writes a new file and syncs it. */
  writeNew(path: string, content: string | Uint8Array): void;
  append(path: string, text: string, synced: "synced" | "unsynced"): void;
  truncate(path: string, lengthBytes: number): void;
}

/** The error code of the system, such as `ENOENT`; empty for other errors. */
export const codeOf = (error: unknown): string =>
  error instanceof Error && "code" in error && typeof error.code === "string" ? error.code : "";

/** File systems without hard links, or a system that forbids them, answer with one of these. */
export const cannotLink = (code: string): boolean =>
  ["EPERM", "EACCES", "ENOTSUP", "EOPNOTSUPP", "ENOSYS", "EMLINK", "EINVAL", "EISDIR", "UNKNOWN"].includes(code);

/** Two names of one file. Some network file systems give no inode: then the answer is no. */
export const sameFile = (a: FileFacts, b: FileFacts): boolean => a.ino !== 0n && a.ino === b.ino && a.dev === b.dev;

const chunkBytes = 1 << 20;
const windows = process.platform === "win32";

/** The real disk. */
export const disk: FileOps = {
  look: (path) => factsOf(orNull(() => lstatSync(path, { bigint: true, throwIfNoEntry: false }))),
  lookThrough: (path) => factsOf(orNull(() => statSync(path, { bigint: true, throwIfNoEntry: false }))),
  realPath: (path) => realpathSync(path),
  readLink: (path) => readlinkSync(path),
  checkWritable: (folder) => accessSync(folder, constants.W_OK | constants.X_OK),
  freeBytes(path) {
    try {
      const { bavail, bsize } = statfsSync(path);
      return bsize > 0 ? bavail * bsize : null;
    } catch {
      return null;
    }
  },
  readText: (path) => readFileSync(path, "utf8"),
  list: (folder) => readdirSync(folder),
  sha256(path) {
    const hash = createHash("sha256");
    const chunk = Buffer.allocUnsafe(chunkBytes);
    const fd = openSync(path, "r");
    try {
      for (let n = readSync(fd, chunk); n > 0; n = readSync(fd, chunk)) hash.update(chunk.subarray(0, n));
    } finally {
      closeSync(fd);
    }
    return hash.digest("hex");
  },
  makeFolder: (path) => {
    mkdirSync(path);
  },
  removeFolder: (path) => rmdirSync(path),
  copyNew: (from, to) => copyFileSync(from, to, constants.COPYFILE_EXCL | constants.COPYFILE_FICLONE),
  setTime: (path, mtimeNs) => utimesSync(path, secondsOf(mtimeNs), secondsOf(mtimeNs)),
  setLinkTime: (path, mtimeNs) => lutimesSync(path, secondsOf(mtimeNs), secondsOf(mtimeNs)),
  sync(path) {
    // Windows flushes only what is open for writing, which a write-protected file cannot be.
    try {
      syncOpen(path, windows ? "r+" : "r");
    } catch (error) {
      if (!windows || !["EPERM", "EACCES"].includes(codeOf(error))) throw error;
    }
  },
  syncFolder(path) {
    // Windows, and some network file systems, cannot sync a folder; there is nothing better to do then.
    try {
      syncOpen(path, "r");
    } catch (error) {
      if (!["EPERM", "EACCES", "EISDIR", "EINVAL", "ENOTSUP", "EBADF"].includes(codeOf(error))) throw error;
    }
  },
  link: (from, to) => linkSync(from, to),
  symlink: (target, to) => symlinkSync(target, to, "file"),
  rename: (from, to) => renameSync(from, to),
  remove: (path) => unlinkSync(path),
  writeNew(path, content) {
    const bytes = typeof content === "string" ? Buffer.from(content, "utf8") : content;
    const fd = openSync(path, "wx");
    try {
      writeAll(fd, bytes);
      fsyncSync(fd);
    } finally {
      closeSync(fd);
    }
  },
  append(path, text, synced) {
    const fd = openSync(path, "a");
    try {
      writeAll(fd, Buffer.from(text, "utf8"));
      if (synced === "synced") fsyncSync(fd);
    } finally {
      closeSync(fd);
    }
  },
  truncate: (path, lengthBytes) => truncateSync(path, lengthBytes),
};

type Stats = NonNullable<ReturnType<typeof lstatSync>>;

function factsOf(stats: Stats | null | undefined): FileFacts | null {
  if (!stats) return null;
  const kind = stats.isFile()
    ? "file"
    : stats.isDirectory()
      ? "folder"
      : stats.isSymbolicLink()
        ? "symlink"
        : ("other" as const);
  const { dev, ino, size, nlink } = stats;
  const mtimeNs = "mtimeNs" in stats ? (stats.mtimeNs as bigint) : BigInt(Math.round(Number(stats.mtimeMs) * 1e6));
  return { kind, dev: BigInt(dev), ino: BigInt(ino), names: Number(nlink), sizeBytes: Number(size), mtimeNs };
}

/**
 * A double that Node cuts to the right microsecond: a quarter of one above it, as doubles near today's seconds are a
 * quarter of a microsecond apart.
 */
const secondsOf = (ns: bigint) => Number(ns / 1_000_000_000n) + (Number((ns % 1_000_000_000n) / 1000n) + 0.25) / 1e6;

/** A file in the place of a folder on the way means that there is nothing, too. */
function orNull<T>(read: () => T): T | null {
  try {
    return read();
  } catch (error) {
    if (["ENOTDIR", "ENOENT", "ELOOP"].includes(codeOf(error))) return null;
    throw error;
  }
}

function syncOpen(path: string, mode: string): void {
  const fd = openSync(path, mode);
  try {
    fsyncSync(fd);
  } finally {
    closeSync(fd);
  }
}

function writeAll(fd: number, bytes: Uint8Array): void {
  for (let at = 0; at < bytes.length; ) at += writeSync(fd, bytes, at);
}
