// apply and undo are killed (kill -9) at random moments, resumed, killed again, taken back: no sub may be lost, altered
// or doubled. What was there is known from SHA-256 of every byte, computed here before and after.
import { type ChildProcess, spawn } from "node:child_process";
import { existsSync, readdirSync, statSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { describe, expect, it } from "vitest";
import { type How, openJournal, replay } from "../../src/act/journal.js";
import { type Random, randomStream } from "../../src/numbers/random.js";
import { sized } from "../house/size.js";
import { contents, inventory, type TestNight, testNight } from "../properties/act-night.js";

const child = fileURLToPath(new URL("act-kill-child.mjs", import.meta.url));
/** ACT_KILLS=200 takes as long as it needs; without it the run stops after 20 s on a slow machine and says how far it came. */
const kills = Number(process.env.ACT_KILLS ?? sized(60, 200));
const mostMs = process.env.ACT_KILLS === undefined ? 20_000 : Number.POSITIVE_INFINITY;
const seed = Number(process.env.FC_SEED ?? 20_251_018);
/** Another disk than the one of the temporary folder, for moves that must copy. */
const memory = existsSync("/dev/shm") && statSync("/dev/shm").dev !== statSync(tmpdir()).dev ? "/dev/shm" : undefined;

interface Ended {
  /** It was killed while it acted, not before and not after. */
  readonly killed: boolean;
  readonly tookMs: number;
}

/** Runs the child; kills it some milliseconds after it started to act. */
function runChild(args: readonly string[], killAfterMs: number | null): Promise<Ended> {
  return new Promise((resolve, reject) => {
    const process_: ChildProcess = spawn(process.execPath, [child, ...args], { stdio: ["ignore", "pipe", "pipe"] });
    let started = 0;
    let errors = "";
    process_.stderr!.on("data", (text) => {
      errors += text;
    });
    process_.stdout!.once("data", () => {
      started = performance.now();
      if (killAfterMs !== null) setTimeout(() => process_.kill("SIGKILL"), killAfterMs);
    });
    process_.on("close", (code, signal) => {
      if (code !== 0 && signal !== "SIGKILL") reject(new Error(`${args.join(" ")} ended with ${code}: ${errors}`));
      else resolve({ killed: signal === "SIGKILL", tookMs: performance.now() - started });
    });
  });
}

const files = Array.from({ length: 10 }, (_, i) => `night ${i % 2}/sub_${String(i).padStart(4, "0")}.fits`);

interface Tally {
  kills: number;
  rounds: number;
  inApply: number;
  inUndo: number;
}

/** One night that is applied and taken back, with kills on the way. */
async function oneRound(how: How, random: Random, tally: Tally, lengths: Map<string, number>, n: number) {
  const night = testNight(files, 30_000, tmpdir(), n % 2 === 0 ? memory : undefined);
  const everything = () => inventory([night.subs, night.dest], "with");
  const before = everything();
  const wanted = contents(before);
  const run = async (what: string, args: readonly string[]) => {
    for (;;) {
      const usualMs = lengths.get(what) ?? 40;
      const ended = await runChild([what, ...args], random.between(0, usualMs));
      expectWhole(night, wanted);
      if (!ended.killed) {
        // How long it takes is learned from the runs that were quicker than the kill, so that kills spread over it all.
        lengths.set(what, Math.max(4, 0.7 * usualMs + 0.3 * ended.tookMs));
        return;
      }
      lengths.set(what, usualMs * 1.03);
      tally.kills++;
      if (what === "undo") tally.inUndo++;
      else tally.inApply++;
      // Killed between its last word and its end: it is done.
      const journal = journalOf(night);
      if (what !== "undo" && journal !== null && replay(openJournal(journal).entries).state === "applied") return;
      // Sometimes the user changes their mind and takes back what was begun.
      if (what !== "undo" && random.uniform() < 0.3) return;
    }
  };
  await run(how, [night.out, night.dest, "2026-03-15T08:30:00.000Z"]);
  const journal = journalOf(night);
  if (journal !== null) {
    expect(readdirSync(join(night.out, "journals")).filter((name) => name.endsWith(".jsonl")).length).toBe(1);
    const { state, done } = replay(openJournal(journal).entries);
    if (state === "applied") expectAllThere(night, how, wanted, done.size);
    await run("undo", [journal]);
  }
  expect(timeless(everything())).toEqual(timeless(before));
  everything().forEach(({ mtimeMs }, i) => {
    expect(Math.abs(mtimeMs - before[i]!.mtimeMs)).toBeLessThan(0.0015);
  });
  tally.rounds++;
  night.remove();
}

const timeless = (items: ReturnType<typeof inventory>) => items.map(({ path, sha256 }) => `${sha256} ${path}`);

/** Whatever was cut off: each content is there, and nothing that is no sub (unfinished copies apart). */
function expectWhole(night: TestNight, wanted: ReadonlyMap<string, number>): void {
  const now = contents(inventory([night.subs, night.dest]));
  expect([...now.keys()].sort()).toEqual([...wanted.keys()].sort());
}

/** After a finished apply: the kept subs are at DEST once, and nothing else is. */
function expectAllThere(night: TestNight, how: How, wanted: ReadonlyMap<string, number>, done: number): void {
  const keptFiles = 6; // of ten, by the verdicts of testNight: rows 0, 1, 3, 5, 6 and 8
  expect(done).toBe(keptFiles);
  const there = inventory([night.dest], "with");
  expect(there.length).toBe(keptFiles);
  expect(new Set(there.map(({ sha256 }) => sha256)).size).toBe(keptFiles);
  for (const { sha256 } of there) expect(wanted.has(sha256)).toBe(true);
  expect(inventory([night.subs], "with").length).toBe(how === "move" ? files.length - keptFiles : files.length);
}

function journalOf(night: TestNight): string | null {
  const folder = join(night.out, "journals");
  const name = existsSync(folder) ? readdirSync(folder).find((name) => name.endsWith(".jsonl")) : undefined;
  return name === undefined ? null : join(folder, name);
}

describe.skipIf(process.platform === "win32")("kill -9", () => {
  it(`up to ${kills} times at random moments: no sub is lost, altered or doubled`, async () => {
    const tally: Tally = { kills: 0, rounds: 0, inApply: 0, inUndo: 0 };
    const hows: readonly How[] = ["move", "copy", "link"];
    const started = performance.now();
    const lane = async (which: number) => {
      const lengths = new Map<string, number>();
      const random = randomStream(seed, "kill", which);
      for (let n = which; tally.kills < kills && performance.now() - started < mostMs; n += 2)
        await oneRound(hows[n % 3]!, random, tally, lengths, n);
    };
    await Promise.all([lane(0), lane(1)]);
    expect(tally.inUndo).toBeGreaterThan(tally.kills / 10);
    expect(tally.inApply).toBeGreaterThan(tally.kills / 10);
    expect(tally.kills).toBeGreaterThanOrEqual(Math.min(kills, mostMs === Number.POSITIVE_INFINITY ? kills : 30));
    const where = memory === undefined ? "on one disk" : "on one disk and between two";
    console.log(
      `${tally.kills} kills (${tally.inApply} in apply, ${tally.inUndo} in undo) in ${tally.rounds} rounds ${where}: nothing lost, altered or doubled`,
    );
  }, 240_000);
});
