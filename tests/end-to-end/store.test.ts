// Measurements that are remembered: a second run measures only what is new, and no way of dying spoils them.
import {
  closeSync,
  cpSync,
  mkdtempSync,
  openSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  writeFileSync,
  writeSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { storePlace } from "../../src/cli/store-place.js";
import { readEcsv } from "../../src/terms/ecsv.js";
import { columnNames, type FrameTable } from "../../src/terms/frame-table.js";
import { full, sized } from "../house/size.js";
import { nightOf, run, start } from "./spawned.js";

const folder = mkdtempSync(join(tmpdir(), "nightyield-store-e2e-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const frames = 12;
let night: string;
let fresh: string;
beforeAll(async () => {
  night = nightOf("cloud", join(folder, "cloud"), frames);
  fresh = await measured(night, "none");
}, 60_000);

let runs = 0;
/** The table of a run, as text. */
async function measured(subs: string, store: string, ...more: readonly string[]): Promise<string> {
  const out = join(folder, `table${runs++}.ecsv`);
  // One job: threads for a dozen frames take longer to start than the frames to measure.
  const ended = await run(["measure", subs, "--out", out, "--store", store, "--jobs", "1", ...more], folder);
  expect(ended.stderr).not.toMatch(/note:|attention:/);
  expect(ended.status).toBe(0);
  return readFileSync(out, "utf8");
}

/** Spoils pixels where a content key does not look: between the head and the first sample. */
function spoil(subs: string): void {
  for (const file of readdirSync(subs)) {
    const at = openSync(join(subs, file), "r+");
    writeSync(at, Buffer.alloc(4000, 0x7f), 0, 4000, 26_000);
    closeSync(at);
  }
}

const without = (table: FrameTable, ...names: readonly string[]) =>
  Object.fromEntries(
    columnNames.filter((name) => !names.includes(name)).map((name) => [name, Array.from<string | number>(table[name])]),
  );

describe("a second run", () => {
  it("gives the same bytes and does not read the pixels, also of a card that was moved and renamed", async () => {
    const store = join(folder, "second");
    const copy = join(folder, "another card");
    cpSync(night, copy, { recursive: true });
    expect(await measured(copy, store)).toBe(fresh);
    const size = () => readdirSync(store).reduce((sum, file) => sum + statSync(join(store, file)).size, 0);
    const filled = size();
    spoil(copy);
    // Had the pixels been read, the table would differ.
    expect(await measured(copy, "none")).not.toBe(fresh);
    expect(await measured(copy, store)).toBe(fresh);
    const moved = join(folder, "moved");
    renameSync(copy, moved);
    for (const file of readdirSync(moved)) renameSync(join(moved, file), join(moved, `renamed_${file}`));
    const again = readEcsv(await measured(moved, store), "moved");
    const first = readEcsv(fresh, "fresh");
    expect(without(again, "file")).toEqual(without(first, "file"));
    expect(size()).toBe(filled);
  });

  it("measures anew what the given gain changes, and only places anew what the given site changes", async () => {
    const store = join(folder, "given");
    const siteFile = join(folder, "gain.json");
    writeFileSync(siteFile, JSON.stringify({ saturationAdu: 3000 }));
    await measured(night, store);
    const withGain = await measured(night, store, "--site-file", siteFile);
    expect(withGain).toBe(await measured(night, "none", "--site-file", siteFile));
    expect(withGain).not.toBe(fresh);
    const copy = join(folder, "sited");
    cpSync(night, copy, { recursive: true });
    spoil(copy);
    const sited = readEcsv(await measured(copy, store, "--site", "10,20"), "sited");
    const first = readEcsv(fresh, "fresh");
    expect(Array.from(sited.starCount)).toEqual(Array.from(first.starCount));
    expect(sited.altitudeDeg[0]).not.toBeCloseTo(first.altitudeDeg[0]!, 1);
  });

  it("triage writes the same files from remembered subs", async () => {
    const store = join(folder, "triage-store");
    const places = full ? ["none", store, store] : [store, store];
    const outs = places.map((place, i) => ({ place, out: join(folder, `triage${i}`) }));
    for (const { place, out } of outs)
      expect((await run(["triage", night, "--out", out, "--store", place], folder)).status).toBe(0);
    const files = readdirSync(outs[0]!.out);
    expect(files.length).toBeGreaterThanOrEqual(5);
    for (const { out } of outs.slice(1))
      for (const file of files)
        expect(readFileSync(join(out, file), "utf8")).toBe(readFileSync(join(outs[0]!.out, file), "utf8"));
  });
});

describe("a store that cannot be trusted or used", () => {
  it("a damaged line costs one sub's measuring and a note", async () => {
    const store = join(folder, "damaged");
    await measured(night, store);
    const file = join(store, readdirSync(store)[0]!);
    const bytes = readFileSync(file);
    const line = bytes.indexOf("\ns");
    bytes[line + 200]! ^= 1;
    writeFileSync(file, bytes);
    const out = join(folder, "damaged.ecsv");
    const ended = await run(["measure", night, "--out", out, "--store", store], folder);
    expect(readFileSync(out, "utf8")).toBe(fresh);
    expect(ended.status).toBe(0);
    expect(ended.stderr).toMatch(/note: A line of .+ is damaged and was left out/);
  });

  it("a place that is a file is told, and the night is measured all the same", async () => {
    const out = join(folder, "no-place.ecsv");
    writeFileSync(join(folder, "plain-file"), "");
    const second = await run(["measure", night, "--out", out, "--store", join(folder, "plain-file")], folder);
    expect(second.status).toBe(0);
    expect(second.stderr).toMatch(/note: Measurements cannot be remembered in .+--store none/);
    expect(readFileSync(out, "utf8")).toBe(fresh);
  });

  it("may not lie among the subs", async () => {
    const ended = await run(
      ["measure", night, "--out", join(folder, "x.ecsv"), "--store", join(night, "store")],
      folder,
    );
    expect(ended.status).toBe(2);
    expect(ended.stderr).toContain("--store");
  });
});

// Windows knows no kill -9; ending a process there is as abrupt, but its files are not ours to test here.
describe.skipIf(process.platform === "win32")("kill -9", () => {
  const [rounds, killsEach] = [sized(3, 4), 5];
  it(`at ${rounds * killsEach} moments costs nothing but time`, async () => {
    const whole = 24;
    const longer = nightOf("cloud", join(folder, "longer"));
    const table = await measured(longer, "none");
    let partial = 0;
    const left: number[] = [];
    for (let round = 0; round < rounds; round++) {
      const store = join(folder, `killed${round}`);
      let before = 0;
      for (let kill = 0; kill < killsEach; kill++) {
        const { child, ended } = start(
          ["triage", longer, "--out", join(folder, `k${round}`), "--store", store, "--jobs", "2"],
          folder,
        );
        // Counting from the first thing that is remembered, moments fall into the measuring however slow the machine is.
        const size = () => {
          try {
            return readdirSync(store).reduce((sum, file) => sum + statSync(join(store, file)).size, 0);
          } catch {
            return 0;
          }
        };
        const started = size();
        while (size() <= started && child.exitCode === null) await new Promise((resume) => setTimeout(resume, 3));
        await new Promise((resume) => setTimeout(resume, ((round * killsEach + kill) * 61) % 240));
        child.kill("SIGKILL");
        await ended;
        const lines = remembered(store);
        // What was there stays.
        expect(lines).toBeGreaterThanOrEqual(before);
        if (lines > before && lines < whole) partial++;
        before = lines;
        left.push(lines);
      }
      expect(await measured(longer, store)).toBe(table);
    }
    console.log(`subs remembered after each kill -9: ${left.join(" ")}`);
    // The test would be empty if every kill came before or after the measuring.
    expect(partial).toBeGreaterThan(3);
  }, 180_000);
});

describe("two runs at once", () => {
  it("share a store", async () => {
    const store = join(folder, "shared");
    const tables = await Promise.all([measured(night, store), measured(night, store), measured(night, store)]);
    for (const table of tables) expect(table).toBe(fresh);
    expect(remembered(store)).toBeGreaterThanOrEqual(frames);
    expect(await measured(night, store)).toBe(fresh);
  });
});

describe("where it lies", () => {
  it("is what the flag says, then the environment, then the platform's cache folder", () => {
    const kept = { ...process.env };
    try {
      process.env.NIGHTYIELD_STORE = "none";
      expect(storePlace(undefined)).toBeUndefined();
      expect(storePlace(folder)).toBe(folder);
      process.env.NIGHTYIELD_STORE = folder;
      expect(storePlace(undefined)).toBe(folder);
      expect(storePlace("none")).toBeUndefined();
      delete process.env.NIGHTYIELD_STORE;
      process.env.XDG_CACHE_HOME = join(folder, "cache");
      process.env.LOCALAPPDATA = join(folder, "local");
      const expected = { linux: join(folder, "cache", "nightyield"), win32: join(folder, "local", "nightyield") };
      const place = storePlace(undefined)!;
      if (process.platform === "linux" || process.platform === "win32") expect(place).toBe(expected[process.platform]);
      else expect(place).toMatch(/nightyield$/);
    } finally {
      for (const name of ["NIGHTYIELD_STORE", "XDG_CACHE_HOME", "LOCALAPPDATA"])
        if (kept[name] === undefined) delete process.env[name];
        else process.env[name] = kept[name];
    }
  });
});

/** Whole lines of measured subs in a store. */
function remembered(store: string): number {
  return readdirSync(store).reduce((sum, file) => {
    const lines = readFileSync(join(store, file), "latin1").split("\n").slice(0, -1);
    return sum + lines.filter((line) => line.startsWith("s")).length;
  }, 0);
}
