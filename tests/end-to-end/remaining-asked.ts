// Invented results of triage for nightyield remaining, and what it says of them.
import { mkdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { expect, vi } from "vitest";
import { remaining } from "../../src/cli/remaining.js";
import { writeEcsv } from "../../src/terms/ecsv.js";
import type { FrameRow, FrameTable } from "../../src/terms/frame-table.js";

/** 60 subs of 60 s a night, all kept and worth 54 s, so 54 minutes of effective integration; noise in ADU sets the sky. */
export function night(
  day: number,
  filter: string,
  noiseAdu: number,
  change: Partial<FrameRow> = {},
): Partial<FrameRow>[] {
  return Array.from({ length: 60 }, (_, i) => ({
    file: `${filter}_${day}_${i}`,
    kind: "light",
    verdict: "keep",
    target: "NGC 281",
    filter,
    filterKind: filter === "Ha" ? "narrowband" : "broadband",
    startUtc: new Date(Date.UTC(2025, 9, day, filter === "Ha" ? 18 : 20) + i * 62_000).toISOString(),
    exposureS: 60,
    gainSetting: 100,
    width: 1920,
    height: 1080,
    pixelScaleArcsec: 2,
    backgroundAdu: 500,
    noiseAdu,
    fwhmPx: 2.5,
    starCount: 200,
    airmass: 1.2,
    transparency: 1,
    weight: 0.9,
    effectiveExposureS: 54,
    ...change,
  }));
}

/** Writes a table where triage writes it. */
export function writeResult(folder: string, table: FrameTable): void {
  mkdirSync(folder, { recursive: true });
  writeFileSync(join(folder, "frames.ecsv"), writeEcsv(table));
}

/** Calls nightyield remaining and listens. Restore the mocks after each test. */
export async function asked(args: readonly string[]) {
  const [out, err]: [string[], string[]] = [[], []];
  vi.spyOn(console, "log").mockImplementation((text) => void out.push(String(text)));
  vi.spyOn(console, "error").mockImplementation((text) => void err.push(String(text)));
  const code = await remaining.run(args);
  const all = out.join("\n");
  expect(all).not.toMatch(/NaN|undefined|Infinity|null/);
  return { code, out: all, err: err.join("\n") };
}
export const camera = ["--gain", "1", "--read-noise", "2"];
export const site = ["--site", "48.2,16.4", "--from", "2025-10-20", "--nights", "8"];
