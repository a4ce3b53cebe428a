// Pictures for the report, from the shipped sample night: which subs are chosen, that they show what they should, and that
// they stay small.
import { cpSync, existsSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, describe, expect, it } from "vitest";
import { triageNight } from "../../src/night.js";
import { reportHtml } from "../../src/show/report.js";
import { picturedRows, reportPictures } from "../../src/show/report-pictures.js";
import { alikeSkies, commonStretch, greyOf, skyGrey, stretchOf } from "../../src/show/stretch.js";
import { inventedNight } from "./report-night.js";

const folder = mkdtempSync(join(tmpdir(), "nightyield-pictures-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
cpSync(fileURLToPath(new URL("../../sample-data/nights/2025-10-27/", import.meta.url)), folder, { recursive: true });
const night = await triageNight([folder]);
const made = reportPictures(night);

describe("pictures of subs in the report", () => {
  it("show a good sub first, then borderline, then dropped ones of every cause", () => {
    const verdicts = made.pictures.map(({ verdict }) => verdict);
    expect(verdicts[0]).toBe("keep");
    expect(verdicts.filter((verdict) => verdict === "keep")).toHaveLength(1);
    expect(verdicts.length).toBeGreaterThan(4);
    expect(verdicts.length).toBeLessThanOrEqual(12);
    const shown = new Set(made.pictures.map(({ file }) => file));
    const causesOf = (wanted: (row: number) => boolean) =>
      new Set(night.table.cause.filter((_, row) => night.table.verdict[row] === "drop" && wanted(row)));
    expect(causesOf((row) => shown.has(night.table.file[row]!))).toEqual(causesOf(() => true));
    for (const { file, verdict } of made.pictures)
      expect(night.table.verdict[night.table.file.indexOf(file)]).toBe(verdict);
  });

  it("stand in the page with name, verdict, reasons and words for those who cannot see them, below 1.5 MB", () => {
    const bytes = made.pictures.reduce((sum, { png }) => sum + png.length, 0);
    console.log(`${made.pictures.length} pictures for the report: ${(bytes / 1000).toFixed(0)} KB`);
    expect(bytes).toBeLessThan(1_500_000);
    const plain = reportHtml(night);
    const page = reportHtml(night, { pictures: made });
    expect(page.split('<img src="data:image/png;base64,').length - 1).toBe(made.pictures.length);
    expect(plain).not.toContain('<img src="data:image/png');
    expect(page.length - plain.length).toBeLessThan(2_000_000);
    for (const { file, alt, lines, verdict } of made.pictures) {
      expect(alt).toContain(`Picture of ${file}, ${verdict}`);
      if (verdict === "drop") expect(lines.length).toBeGreaterThan(1);
    }
  });

  it("take fewer bytes when told so, and no file is a reason to fail", () => {
    const few = reportPictures(night, { mostBytes: 30_000 });
    expect(few.pictures.length).toBeLessThan(made.pictures.length);
    const gone = reportPictures({ ...night, paths: night.paths.map((path) => `${path}.gone`) });
    expect(gone.pictures).toEqual([]);
    expect(reportHtml(night, { pictures: gone })).toContain("The subs are not here");
    const [first] = picturedRows(night.table, 12);
    const one = reportPictures({ ...night, paths: night.paths.map((path, row) => (row === first ? "" : path)) });
    expect(one.note).toContain(`Not shown, as they cannot be read: ${night.table.file[first!]}`);
    expect(existsSync(night.paths[0]!)).toBe(true);
  });

  it("choose the same twelve of 2000 every time", () => {
    const { table } = inventedNight(2000);
    const started = performance.now();
    const rows = picturedRows(table, 12);
    console.log(`twelve of 2000 subs chosen in ${(performance.now() - started).toFixed(0)} ms`);
    expect(rows).toHaveLength(12);
    expect(new Set(rows).size).toBe(12);
    expect(picturedRows(table, 12)).toEqual(rows);
  });
});

describe("subs that share a stretch", () => {
  const sky = (level: number, seed: number) =>
    stretchOf(Float64Array.from({ length: 4000 }, (_, i) => level + (((i * 7919 + seed * 104729) % 1000) / 1000) * 60));

  it("are those with alike skies: one twilight sub makes no other black", () => {
    const own = [1000, 1010, 2600, 990, 1020].map((level, i) => sky(level, i));
    const sets = alikeSkies(own);
    expect(sets.map((set) => [...set].sort())).toEqual([[0, 1, 3, 4], [2]]);
    for (const set of sets) {
      const shared = commonStretch(set.map((i) => own[i]!));
      for (const i of set) {
        const grey = greyOf(own[i]!.skyAdu, shared);
        expect(grey).toBeGreaterThan(skyGrey / 3);
        expect(grey).toBeLessThan(0.4);
      }
    }
    // What was wrong before: with all five in one, good skies differ by less than twilight does and stars are pressed flat.
    const all = commonStretch(own);
    expect(greyOf(own[2]!.skyAdu, all)).toBeGreaterThan(0.5);
  });
});
