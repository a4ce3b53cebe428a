// The user's own decisions: they win, survive, and are never lost.
import { spawn, spawnSync } from "node:child_process";
import { readdirSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, describe, expect, it } from "vitest";
import { parseDecisions, readDecisions } from "../../src/act/decisions.js";
import { jsonFault } from "../../src/act/json-lines.js";
import { markSubs } from "../../src/act/mark.js";
import { writeLists } from "../../src/act/night-files.js";
import { readEcsv } from "../../src/terms/ecsv.js";
import { CannotError } from "../../src/terms/errors.js";
import { fromRows } from "../../src/terms/frame-table.js";
import { type TestNight, testNight, triageAgain } from "../properties/act-night.js";
import { Crash, crashingDisk } from "../properties/faulty-disk.js";

const main = fileURLToPath(new URL("../../dist/cli/main.js", import.meta.url));
const run = (...args: string[]) => spawnSync(process.execPath, [main, ...args], { encoding: "utf8" });
const nights: TestNight[] = [];
afterAll(() => {
  for (const night of nights) night.remove();
});
const names = Array.from({ length: 10 }, (_, i) => `a/sub_${i}.fits`);
const newNight = (files: readonly string[] = names) => {
  const night = testNight(files, 100);
  nights.push(night);
  return night;
};
const text = (night: TestNight, name: string) => readFileSync(join(night.out, name), "utf8");
const rowOf = (night: TestNight, file: string) => {
  const table = readEcsv(text(night, "frames.ecsv"), "frames.ecsv");
  const row = table.file.indexOf(file);
  return { verdict: table.verdict[row], note: table.note[row] };
};

describe("mark", () => {
  it("changes table and lists, says so in the note, survives the next triage and can be taken back", () => {
    const night = newNight();
    const before = ["frames.ecsv", "keep.txt", "drop.txt", "weights.csv"].map((name) => text(night, name));
    const marked = run("mark", night.out, "sub_0.fits", "--as", "drop", "--because", 'a "cat", on the lens');
    expect(marked.stderr).toBe("");
    expect(marked.status).toBe(0);
    expect(marked.stdout).toContain("report.html will be by the next triage");
    expect(run("mark", night.out, join(night.subs, "a/sub_2.fits"), "--as", "keep").status).toBe(0);
    const check = () => {
      const hand = 'drop by hand (graded keep): a "cat", on the lens';
      expect(rowOf(night, "a/sub_0.fits")).toEqual({ verdict: "drop", note: hand });
      expect(rowOf(night, "a/sub_2.fits")).toEqual({ verdict: "keep", note: "keep by hand (graded drop)" });
      expect(text(night, "drop.txt")).toBe(
        `${join(night.subs, "a/sub_0.fits")}\n${join(night.subs, "a/sub_7.fits")}\n`,
      );
      expect(text(night, "keep.txt").split("\n")).toContain(join(night.subs, "a/sub_2.fits"));
      // Weights of testNight: 0.2 + 0.1 x (row mod 7); the best kept one is row 6 with 0.8.
      expect(text(night, "weights.csv").split("\n").slice(0, 4)).toEqual([
        "path,weight,verdict",
        `${join(night.subs, "a/sub_0.fits")},0,drop`,
        `${join(night.subs, "a/sub_1.fits")},0.375,borderline`,
        `${join(night.subs, "a/sub_2.fits")},0.5,keep`,
      ]);
    };
    check();
    const { notes } = triageAgain(night);
    expect(notes).toEqual(["2 verdicts are yours (decisions.json)"]);
    check();
    expect(run("mark", night.out).stdout).toContain('drop  a/sub_0.fits  a "cat", on the lens');
    expect(run("mark", night.out, "a/sub_0.fits", "sub_2.fits", "--clear").status).toBe(0);
    expect(["frames.ecsv", "keep.txt", "drop.txt", "weights.csv"].map((name) => text(night, name))).toEqual(before);
    expect(run("mark", night.out).stdout).toBe("No decisions by hand\n");
  });

  it("finds a sub by its content when it has another name, and not another content under the old name", () => {
    const night = newNight(["x.fits", "y.fits"]);
    const write = (files: readonly string[], contentKeys: readonly string[]) =>
      writeLists(night.out, {
        table: fromRows(files.map((file) => ({ file, kind: "light", verdict: "keep" }))),
        paths: files.map((file) => join(night.subs, file)),
        folders: [night.subs],
        contentKeys,
      });
    write(["x.fits", "y.fits"], ["key of x", "key of y"]);
    markSubs(night.out, ["x.fits"], { as: "drop", atUtc: "2026-03-15T08:30:00Z" });
    expect([...write(["y.fits", "x.fits"], ["key of x", "another key"]).table.verdict]).toEqual(["drop", "keep"]);
    const gone = write(["y.fits", "x.fits"], ["key of y", "another key"]);
    expect([...gone.table.verdict]).toEqual(["keep", "keep"]);
    expect(gone.notes.join()).toContain("x.fits; kept for later");
    expect([...write(["x.fits", "y.fits"], ["key of x", "key of y"]).table.verdict]).toEqual(["drop", "keep"]);
  });

  it.each([
    [["sub_99.fits", "--as", "keep"], 2, "There is no sub sub_99.fits"],
    [["sub_1.fits", "--as", "maybe"], 2, "--as keep, --as drop or --clear"],
    [["sub_1.fits"], 2, "--as keep, --as drop or --clear"],
    [["sub_1.fits", "--clear"], 2, "no decision on sub_1.fits"],
    [["--as", "keep"], 2, "at least one sub"],
  ] as const)("mark DIR %j ends with %i", (args, status, says) => {
    const ended = run("mark", newNight().out, ...args);
    expect(ended.stderr).toContain(says);
    expect(ended.status).toBe(status);
  });

  it("says which of two subs of one name is meant, and that DIR is none", () => {
    const night = newNight(["a/s.fits", "b/s.fits"]);
    expect(run("mark", night.out, "s.fits", "--as", "drop").stderr).toContain("s.fits means 2 subs");
    expect(run("mark", night.out, "b/s.fits", "--as", "drop").status).toBe(0);
    expect(run("mark", night.subs, "s.fits", "--as", "drop").stderr).toContain("holds no night.json");
  });

  it("eight marks at once: none is lost", async () => {
    const night = newNight();
    const ends = await Promise.all(
      names.slice(0, 8).map(
        (name) =>
          new Promise<number | null>((resolve) => {
            const child = spawn(process.execPath, [main, "mark", night.out, name, "--as", "drop"], {
              stdio: ["ignore", "ignore", "inherit"],
            });
            child.on("close", resolve);
          }),
      ),
    );
    expect(ends).toEqual(new Array(8).fill(0));
    expect(
      readDecisions(night.out)
        .map(({ file }) => file)
        .sort(),
    ).toEqual(names.slice(0, 8));
    expect(text(night, "drop.txt").split("\n").length - 1).toBe(8);
    expect(readdirSync(night.out).filter((name) => /lock|part/.test(name))).toEqual([]);
  });

  it("cut off at any operation: the old or the new decisions are there, whole, and the next mark puts all right", () => {
    for (let n = 1; ; n++) {
      const night = newNight(names.slice(0, 3));
      const atUtc = "2026-03-15T08:30:00Z";
      markSubs(night.out, ["sub_0.fits"], { as: "drop", because: "old", atUtc });
      const { ops, calls } = crashingDisk(n);
      let ended = false;
      try {
        markSubs(night.out, ["sub_1.fits"], { as: "drop", because: "new", atUtc }, ops);
        ended = calls() < n;
      } catch (error) {
        expect(error instanceof Crash || error instanceof CannotError).toBe(true);
      }
      const because = readDecisions(night.out).map((decision) => decision.because);
      expect([["old"], ["old", "new"]]).toContainEqual(because);
      markSubs(night.out, ["sub_2.fits"], { as: "keep", atUtc });
      expect(readDecisions(night.out).length).toBe(because.length + 1);
      expect(text(night, "drop.txt").split("\n").length - 1).toBe(because.length);
      if (ended) break;
      expect(n).toBeLessThan(100);
    }
  });

  it.each([
    ['{\n  "decisions": [\n    {"file": "a/sub_0.fits", "as": "drop"}\n    {"file": "a/sub_1.fits"}\n  ]\n}', 4],
    [
      '{\n  "decisions": [\n    {"file": "a/[sub_0.fits", "as": "drop"},\n\n    {"file": "b", "as": "perhaps"}\n  ]\n}',
      5,
    ],
    ['{\n  "decisions": [{"file": "a", "as": "keep", "reason": "x"}]}', 2],
    ['{\n  "decisions": [', 2],
    ["", 1],
    ["[]", 1],
  ])("decisions edited wrongly are named by line and kept: %j", (broken, line) => {
    const night = newNight();
    writeFileSync(join(night.out, "decisions.json"), broken);
    const keep = text(night, "keep.txt");
    const ended = run("mark", night.out, "sub_1.fits", "--as", "drop");
    expect(ended.stderr).toMatch(new RegExp(`decisions\\.json, line ${line}: .+Correct that line`));
    expect(ended.status).toBe(3);
    expect(text(night, "decisions.json")).toBe(broken);
    expect(() => triageAgain(night)).toThrow(CannotError);
    expect(text(night, "keep.txt")).toBe(keep);
  });

  it("decisions written by hand need no more than file and verdict", () => {
    expect(parseDecisions('\ufeff{"decisions": [{"file": "a", "as": "keep"}]}', "d")).toEqual([
      { file: "a", as: "keep" },
    ]);
  });

  it("finds the fault in JSON where JSON.parse finds one, and none elsewhere", () => {
    const good = '{"a": [1, -2.5e+3, true, null, "x\\u00e9\\n\\"", {}], "b": {"c": []}}';
    expect(jsonFault(good)).toBeNull();
    for (let at = 0; at < good.length; at++)
      for (const other of ["", "x", ",", '"', "}", "\n"]) {
        const bad = good.slice(0, at) + other + good.slice(at + 1);
        let parses = true;
        try {
          JSON.parse(bad);
        } catch {
          parses = false;
        }
        const fault = jsonFault(bad);
        expect(fault === null).toBe(parses);
        if (fault !== null) expect(fault.line).toBeLessThanOrEqual(bad.split("\n").length);
      }
  });
});
