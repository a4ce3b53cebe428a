// A small night on a real disk for the tests of act/: subs with odd names, and its triage output as triage writes it.
import { createHash } from "node:crypto";
import {
  lstatSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  utimesSync,
  writeFileSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { writeLists } from "../../src/act/night-files.js";
import { randomStream } from "../../src/numbers/random.js";
import { fromRows } from "../../src/terms/frame-table.js";

export interface TestNight {
  /** Holds all the others. */
  readonly root: string;
  readonly subs: string;
  readonly out: string;
  readonly dest: string;
  /** Names in the table, row by row. */
  readonly files: readonly string[];
  remove(): void;
}

/** Verdicts go round: keep, borderline, drop, keep, unjudged. */
export const verdictOf = (row: number) => ["keep", "borderline", "drop", "keep", "unjudged"][row % 5]!;

export const oddNames = [
  "2026-03-14/sub_0001.fits",
  "2026-03-14/M 31 'à la carte' \"x\", 300s.fit",
  "2026-03-14/星雲_α.fits.fz",
  "2026-03-15/sub_0001.fits",
  "2026-03-15/-33 leading dash.fits",
  `2026-03-15/${"é".repeat(122)}.fits`,
  "no ending",
];

/** @param bytes - size of the smallest sub; each is a little longer than the one before */
export function testNight(
  files: readonly string[] = oddNames,
  bytes = 3000,
  base = tmpdir(),
  destBase?: string,
): TestNight {
  const root = mkdtempSync(join(base, "nightyield-act-"));
  const destRoot = destBase === undefined ? root : mkdtempSync(join(destBase, "nightyield-act-"));
  const [subs, out, dest] = [join(root, "subs"), join(root, "out"), join(destRoot, "dest")];
  files.forEach((file, row) => {
    const path = join(subs, ...file.split("/"));
    mkdirSync(dirname(path), { recursive: true });
    const random = randomStream(row + 1, "sub");
    const content = Uint8Array.from({ length: bytes + 17 * row }, () => random.bits());
    writeFileSync(path, content);
    utimesSync(path, 1_750_000_000 + row, 1_750_000_000 + row + 0.25);
  });
  mkdirSync(out);
  const night = { root, subs, out, dest, files, remove: () => [root, destRoot].forEach(removeAll) };
  triageAgain(night);
  return night;
}

/** Writes what triage writes. */
export function triageAgain(
  { subs, out, files }: Pick<TestNight, "subs" | "out" | "files">,
  folders = [subs],
  contentKeys: readonly string[] = [],
) {
  const table = fromRows(
    files.map((file, row) => ({
      file,
      kind: "light",
      target: "M 31",
      exposureS: 300,
      weight: 0.2 + 0.1 * (row % 7),
      verdict: verdictOf(row),
      note: row % 2 === 0 ? "" : "a note",
    })),
  );
  return writeLists(out, { table, paths: files.map((file) => join(subs, ...file.split("/"))), folders, contentKeys });
}

const removeAll = (path: string) => rmSync(path, { recursive: true, force: true });
const sha256 = (path: string) => createHash("sha256").update(readFileSync(path)).digest("hex");

export interface Item {
  readonly path: string;
  readonly sha256: string;
  readonly mtimeMs: number;
}

/** Every file below the folders, with content hash and time; unfinished copies are left out unless asked for. */
export function inventory(folders: readonly string[], unfinished: "without" | "with" = "without"): Item[] {
  const items: Item[] = [];
  for (const folder of folders) {
    let names: string[];
    try {
      names = readdirSync(folder, { recursive: true, encoding: "utf8" });
    } catch {
      continue; // not made yet
    }
    for (const name of names.sort()) {
      const path = join(folder, name);
      const stats = lstatSync(path);
      if (stats.isDirectory()) continue;
      if (unfinished === "without" && /\.nightyield-.*\.part$/.test(name)) continue;
      items.push({ path, sha256: sha256(path), mtimeMs: stats.mtimeMs });
    }
  }
  return items;
}

/** How often each content is there. */
export function contents(items: readonly Item[]): Map<string, number> {
  const counts = new Map<string, number>();
  for (const { sha256 } of items) counts.set(sha256, (counts.get(sha256) ?? 0) + 1);
  return counts;
}
