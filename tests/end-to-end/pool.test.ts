// Frames measured by several threads: the same results, whatever their number, and no file stops the night.
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, truncateSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { afterAll, describe, expect, it } from "vitest";
import { openPool } from "../../src/measure/pool.js";
import { openStore } from "../../src/measure/store.js";
import { readEcsv } from "../../src/terms/ecsv.js";
import { nightOf, run, start } from "./spawned.js";

const folder = mkdtempSync(join(tmpdir(), "nightyield-pool-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** A header that declares more pixels than any array can hold, and a file as long as it says, with nothing in it. */
function gigantic(path: string): void {
  const side = 100_000;
  const cards = ["SIMPLE  =                    T", "BITPIX  =                    8", "NAXIS   =                    2"];
  cards.push(
    `NAXIS1  = ${String(side).padStart(20)}`,
    `NAXIS2  = ${String(side).padStart(20)}`,
    "IMAGETYP= 'Light'",
    "END",
  );
  writeFileSync(
    path,
    cards
      .map((card) => card.padEnd(80))
      .join("")
      .padEnd(2880),
  );
  truncateSync(path, 2880 + Math.ceil((side * side) / 2880) * 2880);
}

describe("jobs", () => {
  it("of any number give the same table, in the order of the files", async () => {
    const night = nightOf("damaged-files", join(folder, "several"), 12);
    const tables: string[] = [];
    for (const jobs of ["1", "2", "5"]) {
      const out = join(folder, `jobs${jobs}.ecsv`);
      const ended = await run(["measure", night, "--out", out, "--jobs", jobs, "--store", "none"], folder);
      expect(ended.stderr).toMatch(/attention: Cannot read/);
      expect(ended.status).toBe(1);
      tables.push(readFileSync(out, "utf8"));
    }
    expect(tables[1]).toBe(tables[0]);
    expect(tables[2]).toBe(tables[0]);
    expect(readEcsv(tables[0]!, "jobs").rows).toBeGreaterThan(10);
  });

  it("is a whole number from 1", async () => {
    const ended = await run(["measure", folder, "--out", join(folder, "..", "x.ecsv"), "--jobs", "0"], folder);
    expect(ended.status).toBe(2);
    expect(ended.stderr).toContain("--jobs is '0'");
  });

  // Windows would fill the disk for such a file.
  it.skipIf(process.platform === "win32")("a file that breaks its thread is a row, and the night goes on", async () => {
    const night = nightOf("null-night", join(folder, "gigantic"), 6);
    gigantic(join(night, "a_first.fits"));
    gigantic(join(night, "z_last.fits"));
    const tables: string[] = [];
    for (const jobs of ["1", "2"]) {
      const out = join(folder, `gigantic${jobs}.ecsv`);
      const ended = await run(["measure", night, "--out", out, "--jobs", jobs], folder);
      expect(ended.status).toBe(1);
      expect(ended.stderr).toMatch(/attention: Cannot measure a_first\.fits: .+ try --jobs 1; else leave the file out/);
      tables.push(readFileSync(out, "utf8"));
    }
    expect(tables[1]).toBe(tables[0]);
    const table = readEcsv(tables[0]!, "gigantic");
    expect([...table.kind]).toEqual(["unreadable", ...new Array(6).fill("light"), "unreadable"]);
    expect(table.note[0]).toMatch(/^byte 0: measuring it failed: /);
    for (let row = 1; row < 7; row++) expect(table.starCount[row]).toBeGreaterThan(20);
  });
});

describe("the pool", () => {
  const worker = (name: string, body: string) => {
    const path = join(folder, name);
    writeFileSync(path, `import { parentPort } from "node:worker_threads";\n${body}`);
    return pathToFileURL(path);
  };
  const task = (file: string) => ({ kind: "measure" as const, path: file, file, options: {} });
  const dying = () =>
    worker(
      "dying.mjs",
      `parentPort.on("message", ({ file }) => {
        if (file === "exits") process.exit(7);
        if (file === "throws") throw new RangeError("no room for it");
        if (file === "rejects") Promise.reject(new Error("nobody waited"));
        else parentPort.postMessage({ outcome: { measured: file } });
      });
      parentPort.postMessage("ready");`,
    );

  it("starts a fresh thread for one that dies, tries its file once more, and names it", async () => {
    const pool = openPool(2, dying());
    const files = ["a", "throws", "b", "exits", "c", "rejects", "d", "e", "f"];
    const outcomes = await Promise.all(files.map((file) => pool.do(task(file))));
    await pool.close();
    const told = outcomes.map((outcome) => ("unreadable" in outcome ? outcome.unreadable.message : outcome.measured));
    expect(told.filter((_, i) => files[i]!.length === 1)).toEqual(["a", "b", "c", "d", "e", "f"]);
    expect(told[1]).toMatch(/^Cannot measure throws: no room for it\. /);
    expect(told[3]).toMatch(/^Cannot measure exits: its thread ended\. /);
    expect(told[5]).toMatch(/^Cannot measure rejects: nobody waited\. /);
  });

  it("a match that fails is a fault, not a finding", async () => {
    const pool = openPool(
      2,
      worker(
        "fails.mjs",
        `parentPort.on("message", () => { throw new Error("fault"); });\nparentPort.postMessage("ready");`,
      ),
    );
    const side = { width: 1, height: 1, brightStars: new Uint8Array(0) };
    await expect(pool.do({ kind: "match", sub: side, reference: side })).rejects.toThrow("fault");
    await pool.close();
  });

  it.each([1, 3])("without threads to start, %i jobs are done here", async (jobs) => {
    const pool = openPool(jobs, pathToFileURL(join(folder, "is-not-there.mjs")));
    const night = nightOf("null-night", join(folder, `here${jobs}`), 3);
    const outcomes = await Promise.all(
      readdirSync(night).map((file) => pool.do({ kind: "measure", path: join(night, file), file, options: {} })),
    );
    await pool.close();
    expect(outcomes.length).toBe(3);
    for (const outcome of outcomes) expect("measured" in outcome && outcome.measured.starCount).toBeGreaterThan(20);
  });

  it("hands out room only while few tasks wait", async () => {
    const pool = openPool(2, dying());
    const order: string[] = [];
    const work: Promise<void>[] = [];
    for (const file of ["a", "b", "c", "d", "e", "f", "g", "h"]) {
      work.push(pool.do(task(file)).then(() => void order.push(`done ${file}`)));
      order.push(`gave ${file}`);
      await pool.room();
    }
    await Promise.all(work);
    await pool.close();
    // Two at work and two waiting at most.
    expect(order.indexOf("gave e")).toBeGreaterThan(order.findIndex((entry) => entry.startsWith("done")));
  });
});

// Windows knows no signals between processes.
describe.skipIf(process.platform === "win32")("Ctrl-C", () => {
  it("ends with 130, leaves nothing half-written, and what was measured is remembered", async () => {
    const night = nightOf("cloud", join(folder, "interrupted"));
    const [store, out] = [join(folder, "interrupted-store"), join(folder, "interrupted-out")];
    const { child, ended } = start(["triage", night, "--out", out, "--store", store, "--jobs", "2"], folder);
    const lines = () =>
      existsSync(store)
        ? readdirSync(store).reduce(
            (sum, file) => sum + readFileSync(join(store, file), "latin1").split("\ns").length - 1,
            0,
          )
        : 0;
    while (lines() < 3 && child.exitCode === null) await new Promise((resume) => setTimeout(resume, 5));
    child.kill("SIGINT");
    const { status, stderr } = await ended;
    expect(status).toBe(130);
    expect(stderr).toContain("nothing was changed in the folders of subs");
    expect(existsSync(out)).toBe(false);
    const remembered = lines();
    expect(remembered).toBeGreaterThanOrEqual(3);
    expect(remembered).toBeLessThan(24);
    for (const file of readdirSync(store)) expect(readFileSync(join(store, file)).at(-1)).toBe(10);
    const opened = openStore(store);
    opened.find("2025-10-20", "s", "0".repeat(32));
    expect(opened.problems()).toEqual([]);
    opened.close();
    const again = ["measure", night, "--out", join(folder, "again.ecsv"), "--store", store];
    expect((await run(again, folder)).status).toBe(0);
    expect(lines()).toBe(24);
  });
});
