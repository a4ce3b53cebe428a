// `nightyield causes` as a user calls it, on a simulated night with dew.
import { spawnSync } from "node:child_process";
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { readEcsv } from "../../src/terms/ecsv.js";
import { nightOf } from "./spawned.js";
import { triaged } from "./triaged.js";

const root = fileURLToPath(new URL("../../", import.meta.url));
const main = join(root, "dist/cli/main.js");
const folder = mkdtempSync(join(tmpdir(), "nightyield-causes-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const run = (...args: string[]) => spawnSync(process.execPath, [main, ...args], { encoding: "utf8", cwd: folder });

describe("nightyield causes", () => {
  beforeAll(async () => {
    nightOf("dew", join(folder, "made"));
    await triaged([join(folder, "made/nights")], join(folder, "out"));
  }, 120_000);

  it("tells the night, the advice and what quality goes with", () => {
    const ended = run("causes", "out");
    expect(ended.status, ended.stderr).toBe(0);
    expect(ended.stdout).toMatch(/^out: 24 light frames, \d+ dropped$/m);
    expect(ended.stdout).toMatch(
      /^ {2}2025-10-20 \d\d:\d\d-\d\d:\d\d UTC {2}dew: \d+ subs, \d+ dropped, \d+ min of effective exposure lost/m,
    );
    expect(ended.stdout).toMatch(
      /^ {2}heat the optics against dew from before \d\d:\d\d UTC: \+\d+ min of effective exposure/m,
    );
    expect(ended.stdout).toContain("What quality goes with:");
  });

  it("gives every sub that is not a plain keep a line, a column and JSON", () => {
    const out = join(folder, "with-causes.ecsv");
    const ended = run("causes", "out", "--subs", "--out", out);
    expect(ended.status, ended.stderr).toBe(0);
    const table = readEcsv(readFileSync(out, "utf8"), out);
    const given = table.cause.filter((cause) => cause !== "").length;
    expect(given).toBeGreaterThanOrEqual(table.verdict.filter((verdict) => verdict === "drop").length);
    for (let row = 0; row < table.rows; row++) {
      if (table.verdict[row] === "drop") expect(table.cause[row]).not.toBe("");
      if (table.cause[row] === "") expect(table.causeProbability[row]).toBeNaN();
      else expect(table.causeProbability[row]).toBeGreaterThan(0);
      expect(ended.stdout.includes(table.file[row]!)).toBe(table.cause[row] !== "");
    }
    const json = JSON.parse(run("causes", "out", "--json").stdout) as {
      results: { causes: { file: string; cause: string; evidence: unknown[] }[] }[];
    };
    expect(json.results[0]!.causes.length).toBe(given);
    expect(json.results[0]!.causes.every(({ evidence }) => evidence.length > 0)).toBe(true);
  });

  it("refuses wrong calls with a remedy", () => {
    const none = run("causes");
    expect(none.status).toBe(2);
    expect(none.stderr).toMatch(/Give at least one triage result/);
    mkdirSync(join(folder, "empty"));
    const empty = run("causes", "empty");
    expect(empty.status).toBe(3);
    expect(empty.stderr).toMatch(/no triage result in empty .*Run nightyield triage first/);
    mkdirSync(join(folder, "bad"));
    writeFileSync(join(folder, "bad/frames.ecsv"), "not a table");
    const bad = run("causes", "bad");
    expect(bad.status).toBe(2);
    expect(bad.stderr).toMatch(/frames\.ecsv/);
  });
});
