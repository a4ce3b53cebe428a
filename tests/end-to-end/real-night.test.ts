// The main job on a real night: 67 consecutive frames of 2019-03-26 (../shared/data/sky/lowell-5945; its README names the
// source). Reference values: reference.csv, made with astropy 5.2.1 and sep 1.2.1 by measure.py beside it.
import { spawnSync } from "node:child_process";
import { createHash } from "node:crypto";
import { mkdtempSync, readdirSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { median } from "../../src/numbers/quantiles.js";
import { spearman } from "../../src/numbers/rank.js";
import { readEcsv } from "../../src/terms/ecsv.js";
import type { FrameTable } from "../../src/terms/frame-table.js";
import { hasShared, sharedPath, withoutShared } from "../reference/shared-data.js";

const main = fileURLToPath(new URL("../../dist/cli/main.js", import.meta.url));
const out = mkdtempSync(join(tmpdir(), "nightyield-real-"));
afterAll(() => rmSync(out, { recursive: true, force: true }));

function reference(): (name: string) => number[] {
  const text = readFileSync(sharedPath("data/sky/lowell-5945/reference.csv"), "utf8");
  const [head, ...rows] = text
    .trim()
    .split("\n")
    .map((line) => line.split(","));
  return (name) => rows.map((row) => Number(row[head!.indexOf(name)]));
}

function inventory(folder: string): string[] {
  return readdirSync(folder).map(
    (name) =>
      `${name} ${createHash("sha256")
        .update(readFileSync(join(folder, name)))
        .digest("hex")}`,
  );
}

describe.skipIf(!hasShared)(`nightyield triage on a real night${hasShared ? "" : ` (${withoutShared})`}`, () => {
  const folder = hasShared ? sharedPath("data/sky/lowell-5945") : "";
  let table: FrameTable;
  let ended: { status: number | null; stdout: string; stderr: string };
  let before: string[];
  beforeAll(() => {
    before = inventory(folder);
    ended = spawnSync(process.execPath, [main, "triage", folder, "--out", out], { encoding: "utf8" });
    table = readEcsv(readFileSync(join(out, "frames.ecsv"), "utf8"), "frames.ecsv");
  }, 120_000);
  const furthest = (ours: ArrayLike<number>, theirs: readonly number[]) =>
    Math.max(...theirs.map((value, i) => Math.abs(ours[i]! - value)));

  it("grades all 67 frames and alters none", () => {
    expect(ended.stderr).not.toContain("fault of nightyield");
    expect(ended.status).toBe(0);
    expect(table.rows).toBe(67);
    expect(table.kind.every((kind) => kind === "light")).toBe(true);
    expect(table.verdict.every((verdict) => ["keep", "borderline", "drop"].includes(verdict))).toBe(true);
    expect(inventory(folder)).toEqual(before);
    const lists = ["keep.txt", "drop.txt"].map((name) =>
      readFileSync(join(out, name), "utf8").trim().split("\n").filter(Boolean),
    );
    expect(lists[0]!.length + lists[1]!.length).toBe(67);
    expect(table.verdict.filter((verdict) => verdict === "drop").length).toBe(lists[1]!.length);
    console.log(ended.stdout);
  });

  it("agrees with the reference values", () => {
    const of = reference();
    const background = median(of("background_adu").map((value, i) => Math.abs(table.backgroundAdu[i]! / value - 1)));
    const figures = [
      ["altitude, deg, largest difference", furthest(table.altitudeDeg, of("alt_deg")), 0.02],
      ["airmass, largest difference", furthest(table.airmass, of("airmass_ky1989")), 0.01],
      ["Moon altitude, deg, largest difference", furthest(table.moonAltitudeDeg, of("moon_alt_deg")), 0.05],
      ["Sun altitude, deg, largest difference", furthest(table.sunAltitudeDeg, of("sun_alt_deg")), 0.05],
      ["background, relative, median difference", background, 0.01],
      ["1 - Spearman of star counts", 1 - spearman(table.starCount, of("n_stars")), 0.1],
      ["1 - Spearman of FWHM with the fitted Gaussians", 1 - spearman(table.fwhmPx, of("fwhm_gauss_px")), 0.05],
    ] as const;
    for (const [what, value, most] of figures) console.log(`${what}: ${value.toPrecision(3)} (at most ${most})`);
    for (const [what, value, most] of figures) expect(value, what).toBeLessThan(most);
  });

  it("drops the frames taken in twilight for their sky", () => {
    // README of the night: dusk at the start, background 8790 ADU in the first frame against 2730 later.
    expect(table.verdict[0]).toBe("drop");
    expect(table.symptoms[0]).toContain("bright-background");
    const middle = Array.from({ length: 20 }, (_, i) => table.verdict[i + 25]);
    expect(middle.filter((verdict) => verdict === "drop").length).toBe(0);
  });
});
