// The commands as a user calls them, on the sample nights and on calls that are wrong.
import { spawnSync } from "node:child_process";
import { existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { readEcsv, readEcsvColumns } from "../../src/terms/ecsv.js";
import type { FrameTable } from "../../src/terms/frame-table.js";
import { sampleStore } from "../house/sample-store.js";

const root = fileURLToPath(new URL("../../", import.meta.url));
const main = join(root, "dist/cli/main.js");
const folder = mkdtempSync(join(tmpdir(), "nightyield-cli-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const run = (...args: string[]) => spawnSync(process.execPath, [main, ...args], { encoding: "utf8", cwd: folder });

describe("triage on the sample nights", () => {
  const out = join(folder, "out");
  let ended: ReturnType<typeof run>;
  let table: FrameTable;
  beforeAll(() => {
    ended = run("triage", join(root, "sample-data/nights"), "--out", out, "--store", sampleStore());
    table = readEcsv(readFileSync(join(out, "frames.ecsv"), "utf8"), "frames.ecsv");
  }, 120_000);

  it("ends with 1, because two files are damaged, and says which, where and what to do", () => {
    expect(ended.status).toBe(1);
    const lines = ended.stderr.split("\n").filter((line) => line.startsWith("attention: "));
    expect(lines.length).toBe(2);
    for (const line of lines)
      expect(line).toMatch(/Cannot read \S+ at byte \d+: .+\. .*(?:copy it again|leave it out)/i);
    expect(ended.stdout).toContain(join(out, "report.html"));
  });

  it("has one row a file, with unreadable ones in it and calibration frames left out of grading", () => {
    const files = readdirSync(join(root, "sample-data/nights"), { recursive: true, encoding: "utf8" });
    expect(table.rows).toBe(files.filter((file) => /\.fits/.test(file)).length);
    expect(table.kind.filter((kind) => kind === "unreadable").length).toBe(2);
    for (let row = 0; row < table.rows; row++) {
      if (table.kind[row] !== "light") expect(table.verdict[row]).toBe("unjudged");
      if (table.kind[row] === "unreadable") expect(table.note[row]).toMatch(/^byte \d+: /);
      if (table.verdict[row] === "drop") expect(table.symptoms[row]).not.toBe("");
    }
    expect(table.kind.filter((kind) => kind === "dark").length).toBeGreaterThan(0);
    expect(ended.stdout).toMatch(/recognised and left out of grading/);
  });

  it("does not take the glow of a nebula for stars far out of focus", () => {
    // Subs of NGC 6888 were once measured as stars 100 px wide, and dropped. Their true width stands in the truth table.
    const off: number[] = [];
    for (const night of ["2025-10-18", "2025-10-20"]) {
      const truth = readEcsvColumns(readFileSync(join(root, `sample-data/truth/${night}.ecsv`), "utf8"), night);
      const of = (name: string) => truth.find((column) => column.name === name)!.values;
      for (let i = 0; i < of("file").length; i++) {
        const row = table.file.indexOf(`${night}/${of("file")[i]}`);
        // A streak among few stars is another matter: see the known shortfalls in tests/recovery/measure.test.ts.
        const streaked = String(of("events")[i]).includes("satellites");
        if (of("verdict")[i] === "keep" && table.filter[row] === "Ha" && !streaked)
          off.push(Math.abs(table.fwhmPx[row]! / Number(of("fwhmPx")[i]) - 1));
      }
    }
    console.log(`${off.length} good subs of a nebula: width off by ${(100 * Math.max(...off)).toFixed(1)} % at most`);
    expect(off.length).toBeGreaterThan(25);
    expect(Math.max(...off)).toBeLessThan(0.15);
  });

  it("writes a page that needs no network and shows the site to a tenth of a degree only", () => {
    const page = readFileSync(join(out, "report.html"), "utf8");
    expect(page.length).toBeLessThan(8e6);
    expect(page).not.toMatch(/<(?:script|link|img|iframe)[^>]+(?:src|href)="https?:/);
    expect(page).toMatch(/near 50\.3° N, 9\.9° E/);
  });

  it("gives the lists and a summary that agree with the table", () => {
    const lines = (name: string) => readFileSync(join(out, name), "utf8").split("\n").filter(Boolean);
    const count = (...wanted: string[]) => table.verdict.filter((verdict) => wanted.includes(verdict)).length;
    expect(lines("keep.txt").length).toBe(count("keep", "borderline"));
    expect(lines("drop.txt").length).toBe(count("drop"));
    for (const path of lines("keep.txt")) expect(existsSync(path)).toBe(true);
    const summary = JSON.parse(readFileSync(join(out, "summary.json"), "utf8"));
    expect(JSON.stringify(summary)).not.toContain("NaN");
  });
});

describe("calls", () => {
  it.each([
    [["triage"], 2, "at least one folder"],
    [["triage", "nowhere"], 2, "no folder nowhere"],
    [["triage", ".", "--frobnicate"], 2, "--frobnicate"],
    [["triage", "elsewhere", "--site", "95,0"], 2, "--site is '95,0'"],
    [["triage", ".", "--out", "./inside"], 2, "Nothing is written among the subs"],
    [["conjure"], 2, "no command 'conjure'"],
    [["measure", "."], 2, "--out FILE.ecsv"],
    [["simulate", "none.json", "--out", "x"], 2, "none.json"],
  ] as const)("%j ends with %i", (args, status, says) => {
    const ended = run(...args);
    expect(ended.status).toBe(status);
    expect(ended.stderr).toContain(says);
    expect(ended.stderr).not.toContain("    at ");
  });

  it("an empty folder cannot be done: 3", () => {
    mkdirSync(join(folder, "empty"));
    writeFileSync(join(folder, "empty", "notes.txt"), "no subs here");
    const ended = run("triage", "empty");
    expect(ended.status).toBe(3);
    expect(ended.stderr).toContain("There are no FITS files");
  });

  it("every command explains itself with an example", () => {
    for (const command of ["triage", "measure", "simulate"]) {
      const ended = run(command, "--help");
      expect(ended.status).toBe(0);
      expect(ended.stdout).toMatch(new RegExp(`Example[\\s\\S]*nightyield ${command} `));
    }
  });

  it("a southern, western site may start with a dash; measure writes Parquet by the name", () => {
    const scenario = join(root, "tests/scenarios/null-night.json");
    expect(run("simulate", scenario, "--out", "null", "--frames", "3").status).toBe(0);
    const ended = run("measure", "null/nights", "--site", "-33.9,-70.6", "--out", "null.parquet");
    expect(ended.stderr).not.toContain("attention");
    expect(readFileSync(join(folder, "null.parquet")).subarray(0, 4).toString()).toBe("PAR1");
    expect(ended.status).toBe(0);
  });
});
