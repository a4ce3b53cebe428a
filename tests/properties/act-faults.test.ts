// act/ must not lose, alter or double a sub wherever it is cut off or the disk fails. What must hold is stated from the
// files themselves: SHA-256 of every byte before and after, computed here.
import { appendFileSync, existsSync, mkdirSync, readFileSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { describe, expect, it } from "vitest";
import { applyVerdicts } from "../../src/act/apply.js";
import { disk, type FileOps } from "../../src/act/file-ops.js";
import { type How, openJournal, parseJournal, replay } from "../../src/act/journal.js";
import { undoApply } from "../../src/act/undo.js";
import { CannotError } from "../../src/terms/errors.js";
import { contents, inventory, oddNames, type TestNight, testNight } from "./act-night.js";
import { Crash, crashingDisk, failingDisk, noHardLinks, twoDisks } from "./faulty-disk.js";

/** Where there is a disk in memory, syncing costs nothing. */
const memory = existsSync("/dev/shm") ? "/dev/shm" : undefined;
const atUtc = "2026-03-15T08:30:00.000Z";
const files = oddNames.slice(0, 4);
/** A file of the user's own that has one of the names already. */
const foreign = (night: TestNight) => join(night.dest, ...files[3]!.split("/"));

const disks: Record<string, (night: TestNight) => FileOps> = {
  "one disk": () => disk,
  "two disks": ({ dest }) => twoDisks(dest),
  "no hard links": () => noHardLinks,
};
const cases = Object.keys(disks).flatMap((name) =>
  (["copy", "move", "link"] as const).map((how): [How, string] => [how, name]),
);

/** Subs with the user's own file at DEST. */
function start(): { night: TestNight; before: ReturnType<typeof inventory> } {
  const night = testNight(files, 300, memory);
  mkdirSync(dirname(foreign(night)), { recursive: true });
  writeFileSync(foreign(night), "the user's own");
  return { night, before: inventory([night.subs, night.dest], "with") };
}

const request = (night: TestNight, how: How) => ({ how, dest: night.dest });
const run = (ops: FileOps) => ({ atUtc, ops });
const all = (night: TestNight, unfinished?: "with") => inventory([night.subs, night.dest], unfinished);
/** The three kept subs are at DEST, one under a new name; the user's file is as it was. */
function expectApplied(night: TestNight, how: How, before: ReturnType<typeof inventory>): void {
  const at = (...names: string[]) => inventory([night.dest]).filter(({ path }) => names.includes(path));
  const wanted = [files[0]!, files[1]!, "2026-03-15/sub_0001-2.fits"].map((file) => join(night.dest, file));
  expect(
    at(...wanted)
      .map(({ sha256 }) => sha256)
      .sort(),
  ).toEqual([0, 1, 3].map((row) => before.find(({ path }) => path === join(night.subs, files[row]!))!.sha256).sort());
  expect(inventory([night.dest], "with").length).toBe(4);
  expect(at(foreign(night))).toEqual(before.filter(({ path }) => path === foreign(night)));
  expect(inventory([night.subs], "with").length).toBe(how === "move" ? 1 : 4);
}

/** Every file is at its name, with its bytes, and nothing else is there. */
function expectSameFiles(night: TestNight, before: ReturnType<typeof inventory>): void {
  const timeless = (items: typeof before) => items.map(({ path, sha256 }) => `${sha256} ${path}`);
  expect(timeless(all(night, "with"))).toEqual(timeless(before));
}

/** Every file is at its name again, with its bytes and its time (to the microsecond), and nothing else is there. */
function expectAsBefore(night: TestNight, before: ReturnType<typeof inventory>): void {
  expectSameFiles(night, before);
  all(night, "with").forEach(({ mtimeMs }, i) => {
    expect(Math.abs(mtimeMs - before[i]!.mtimeMs)).toBeLessThan(0.0015);
  });
}

/** No content is gone; a move's sub may be under both names only while a run stands still. */
function expectNothingLost(night: TestNight, before: ReturnType<typeof inventory>): void {
  const now = contents(all(night));
  for (const [sha256] of contents(before)) expect(now.get(sha256) ?? 0).toBeGreaterThanOrEqual(1);
  for (const sha256 of now.keys()) expect(contents(before).has(sha256)).toBe(true);
}

/** The journal, if the run came so far. */
function journalOf(night: TestNight): string | null {
  const folder = join(night.out, "journals");
  if (!existsSync(folder)) return null;
  const name = disk.list(folder).find((name) => name.endsWith(".jsonl"));
  return name === undefined ? null : join(folder, name);
}

async function crashes(work: () => Promise<unknown>): Promise<boolean> {
  try {
    await work();
    return false;
  } catch (error) {
    let cause: unknown = error;
    while (cause instanceof Error && !(cause instanceof Crash)) cause = cause.cause;
    if (cause instanceof Crash) return true;
    throw error;
  }
}

describe("cut off at every operation", () => {
  it.each(cases)("%s, %s: nothing is lost, and both resume and undo end well", async (how, name) => {
    let cuts = 0;
    for (let n = 1; ; n++) {
      const { night, before } = start();
      const base = disks[name]!(night);
      const crashing = crashingDisk(n, base);
      let ended = false;
      try {
        const applied = await applyVerdicts(night.out, request(night, how), run(crashing.ops));
        ended = applied.stopped === null && crashing.calls() < n;
      } catch (error) {
        if (!(await crashes(() => Promise.reject(error)))) throw error;
      }
      if (!ended) cuts++;
      expectNothingLost(night, before);
      const journal = journalOf(night);
      if (n % 2 === 0 && journal !== null) {
        // Taken back from the middle.
        const undone = await undoApply(journal, run(base));
        expect(undone.attention).toEqual([]);
        expectAsBefore(night, before);
      } else {
        const applied = await applyVerdicts(night.out, request(night, how), run(base));
        expect(applied.stopped).toBeNull();
        if (!ended) expectApplied(night, how, before);
        const last = openJournal(journalOf(night)!);
        expect(replay(last.entries).state).toBe("applied");
      }
      night.remove();
      if (ended) break;
    }
    expect(cuts).toBeGreaterThan(15);
    console.log(`${how}, ${name}: cut off at each of ${cuts} operations`);
  });

  it.each(cases)("%s, %s: an undo that is cut off is finished by another", async (how, name) => {
    for (let n = 1; ; n++) {
      const { night, before } = start();
      const base = disks[name]!(night);
      const { journal, stopped } = await applyVerdicts(night.out, request(night, how), run(base));
      expect(stopped).toBeNull();
      const crashing = crashingDisk(n, base);
      let ended = false;
      try {
        const undone = await undoApply(journal!, run(crashing.ops));
        ended = undone.stopped === null && crashing.calls() < n;
      } catch (error) {
        if (!(await crashes(() => Promise.reject(error)))) throw error;
      }
      expectNothingLost(night, before);
      expect(journalOf(night)).toBe(journal);
      if (!ended) await undoApply(journal!, run(base));
      expectAsBefore(night, before);
      const again = await undoApply(journal!, run(base));
      expect(again.nothingToDo).toBe(true);
      night.remove();
      if (ended) break;
    }
  });
});

describe("the disk fails at every operation", () => {
  const some = cases.filter(([how, name]) => how === "move" || name === "one disk");
  const faults = [
    ...cases.map((one) => ["ENOSPC", true, ...one] as const),
    ...cases.map((one) => ["EIO", false, ...one] as const),
    ...some.map((one) => ["EACCES", false, ...one] as const),
    ...some.map((one) => ["EROFS", true, ...one] as const),
  ];
  it.each(faults)("%s (lasting: %s), %s, %s", async (code, lasting, how, name) => {
    let stops = 0;
    for (let n = 1; ; n++) {
      const { night, before } = start();
      const base = disks[name]!(night);
      const failing = failingDisk(n, code, lasting, base);
      let ended = false;
      try {
        const applied = await applyVerdicts(night.out, request(night, how), run(failing.ops));
        ended = failing.calls() < n;
        if (/is full: the \d subs left need|write-protected/.test(applied.stopped ?? "")) stops++;
      } catch (error) {
        // Before anything is done: explained, or the error that was made here when the disk cannot even be looked at.
        if (!(error instanceof CannotError)) expect((error as { code?: string }).code).toBe(code);
      }
      expectNothingLost(night, before);
      if (!lasting && how === "move")
        // One fault: each sub is at one place.
        expect([...contents(all(night)).values()]).toEqual([...contents(before).values()].map(() => 1));
      const journal = journalOf(night);
      if (journal !== null) {
        const undone = await undoApply(journal, run(base));
        expect(undone.attention).toEqual([]);
      }
      expectAsBefore(night, before);
      night.remove();
      if (ended) break;
    }
    // A full or write-protected disk would meet the next sub as well: the run stops and says so.
    if (lasting) expect(stops).toBeGreaterThan(5);
  });

  it("an undo that meets a fault leaves every sub whole and can be repeated", async () => {
    for (const name of Object.keys(disks))
      for (let n = 1; ; n++) {
        const { night, before } = start();
        const base = disks[name]!(night);
        const { journal } = await applyVerdicts(night.out, request(night, "move"), run(base));
        const failing = failingDisk(n, "EIO", false, base);
        let ended = false;
        try {
          await undoApply(journal!, run(failing.ops));
          ended = failing.calls() < n;
        } catch (error) {
          if (!(error instanceof CannotError)) expect((error as { code?: string }).code).toBe("EIO");
        }
        expectNothingLost(night, before);
        expect(journalOf(night)).toBe(journal);
        await undoApply(journal!, run(base));
        expectAsBefore(night, before);
        night.remove();
        if (ended) break;
      }
  });
});

describe("a disk that lies, and others at work", () => {
  it.each(["copy", "move"] as const)("%s: a copy that reads back differently is not used", async (how) => {
    const { night, before } = start();
    const base = twoDisks(night.dest);
    const copyNew = (from: string, to: string) => {
      const bytes = readFileSync(from);
      bytes[100]! ^= 1;
      writeFileSync(to, bytes, { flag: "wx" });
    };
    const applied = await applyVerdicts(night.out, request(night, how), run({ ...base, copyNew }));
    expect(applied.done).toBe(0);
    expect(applied.attention.length).toBe(3);
    expect(applied.attention[0]).toContain("the copy read back from");
    expectSameFiles(night, before);
    night.remove();
  });

  it("a sub that is changed while it is moved to another disk is left", async () => {
    const { night, before } = start();
    const base = twoDisks(night.dest);
    const victim = join(night.subs, ...files[1]!.split("/"));
    const sync = (path: string) => {
      base.sync(path);
      if (path.endsWith("-1.part")) appendFileSync(victim, "more");
    };
    const applied = await applyVerdicts(night.out, request(night, "move"), run({ ...base, sync }));
    expect(applied.done).toBe(2);
    expect(applied.attention).toEqual([`${files[1]}: it was changed while it was copied`]);
    expect(readFileSync(victim).subarray(-4).toString()).toBe("more");
    expect(inventory([night.dest], "with").length).toBe(3);
    writeFileSync(victim, readFileSync(victim).subarray(0, -4));
    await undoApply(applied.journal!, run(base));
    expectSameFiles(night, before);
    night.remove();
  });

  it.each(cases)("%s, %s: a name that somebody takes at the last moment is not replaced", async (how, name) => {
    const { night } = start();
    const base = disks[name]!(night);
    let taken = "";
    const takes = (to: string) => {
      if (taken !== "" || !to.startsWith(night.dest) || to.endsWith(".part")) return;
      taken = to;
      writeFileSync(to, "theirs", { flag: "wx" });
    };
    const ops: FileOps = {
      ...base,
      link: (from, to) => {
        takes(to);
        base.link(from, to);
      },
      symlink: (target, to) => {
        takes(to);
        base.symlink(target, to);
      },
    };
    const applied = await applyVerdicts(night.out, request(night, how), run(ops));
    expect(applied.done).toBe(3);
    expect(applied.notes.join()).toContain("its own name was taken");
    expect(taken).not.toBe("");
    expect(readFileSync(taken, "utf8")).toBe("theirs");
    expect((await undoApply(applied.journal!, run(base))).attention).toEqual([]);
    expect(readFileSync(taken, "utf8")).toBe("theirs");
    expect(inventory([night.subs, night.dest], "with").length).toBe(files.length + 2);
    night.remove();
  });
});

describe("journal", () => {
  it("replays at every prefix, byte by byte: whole lines count, a cut line does not", async () => {
    const { night } = start();
    const { journal } = await applyVerdicts(night.out, request(night, "move"), run(disk));
    await undoApply(journal!, run(disk));
    const bytes = Buffer.from(disk.readText(journal!), "utf8");
    const { head, entries } = parseJournal(bytes.toString("utf8"), "journal");
    const plan =
      bytes
        .toString("latin1")
        .split("\n")
        .slice(0, 1 + head.steps)
        .join("\n").length + 1;
    for (let length = plan; length <= bytes.length; length++) {
      const part = parseJournal(bytes.subarray(0, length).toString("utf8"), "journal");
      const whole = bytes.subarray(plan, length).toString("latin1").split("\n").length - 1;
      expect(part.entries).toEqual(entries.slice(0, whole));
      expect(part.lengthBytes).toBe(bytes.subarray(0, length).lastIndexOf(10) + 1);
      const progress = replay(part.entries);
      for (const step of progress.done.keys()) expect(progress.begun.has(step)).toBe(true);
      for (const step of progress.undone) expect(progress.begun.has(step)).toBe(true);
    }
    for (const length of [0, 10, plan - 1])
      expect(() => parseJournal(bytes.subarray(0, length).toString("utf8"), "journal")).toThrow(CannotError);
    night.remove();
  });

  it("a line that is damaged in the middle is named", () => {
    const head = { journal: "nightyield", version: 1, id: "x", how: "copy", dest: "/d", night: "/n", atUtc, steps: 0 };
    expect(() => parseJournal(`${JSON.stringify(head)}\n{"begin":\n{"end":"complete"}\n`, "j.jsonl")).toThrow(
      /j\.jsonl, line 2/,
    );
  });
});
