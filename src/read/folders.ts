import { readdirSync, statSync } from "node:fs";
import { basename, join, relative, resolve, sep } from "node:path";
import { CallError, CannotError } from "../terms/errors.js";

/** A file that may hold a sub. */
export interface FoundFile {
  readonly path: string;
  /** Name for the frame table: relative to the folder given, with forward slashes; with the folder's name where several were given. */
  readonly file: string;
  readonly sizeBytes: number;
}

const fitsName = /\.(?:fits|fit|fts|fits\.fz|fit\.fz|fz)(?:\.gz)?$/i;

/**
 * Lists the FITS files below folders, by name, in natural order (sub_9 before sub_10). Hidden files and folders are
 * left out; so are files that no FITS name, which are only counted.
 * @throws CallError when a folder does not exist
 */
export function findFiles(folders: readonly string[]): { files: FoundFile[]; otherFiles: number } {
  const files = new Map<string, FoundFile>();
  let otherFiles = 0;
  for (const folder of folders) {
    const root = resolve(folder);
    if (!isFolder(root, folder)) {
      files.set(root, { path: root, file: basename(root), sizeBytes: statSync(root).size });
      continue;
    }
    for (const path of walk(root)) {
      if (!fitsName.test(path)) otherFiles++;
      else if (!files.has(path)) {
        const inside = relative(root, path).split(sep).join("/");
        files.set(path, {
          path,
          file: folders.length > 1 ? `${basename(root)}/${inside}` : inside,
          sizeBytes: statSync(path).size,
        });
      }
    }
  }
  const order = new Intl.Collator("en", { numeric: true });
  return { files: [...files.values()].sort((a, b) => order.compare(a.file, b.file)), otherFiles };
}

function isFolder(path: string, asGiven: string): boolean {
  const stats = statSync(path, { throwIfNoEntry: false });
  if (stats === undefined)
    throw new CallError(`There is no folder ${asGiven}. Give the folder that holds the night's subs`);
  return stats.isDirectory();
}

function* walk(folder: string): Generator<string> {
  let entries: ReturnType<typeof list>;
  try {
    entries = list(folder);
  } catch (cause) {
    throw new CannotError(`Cannot list ${folder}: ${(cause as Error).message}`, { cause });
  }
  for (const entry of entries) {
    if (entry.name.startsWith(".")) continue;
    const path = join(folder, entry.name);
    if (entry.isDirectory()) yield* walk(path);
    else if (entry.isFile()) yield path;
    else if (entry.isSymbolicLink() && statSync(path, { throwIfNoEntry: false })?.isFile()) yield path;
  }
}

const list = (folder: string) => readdirSync(folder, { withFileTypes: true });
