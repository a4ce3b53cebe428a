// apply on disks that are write-protected, or full.
import { spawnSync } from "node:child_process";
import { chmodSync, existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { basename, join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, describe, expect, it } from "vitest";
import { applyVerdicts } from "../../src/act/apply.js";
import { disk } from "../../src/act/file-ops.js";
import { undoApply } from "../../src/act/undo.js";
import { inventory, type TestNight, testNight, triageAgain } from "../properties/act-night.js";

const main = fileURLToPath(new URL("../../dist/cli/main.js", import.meta.url));
const run = (...args: string[]) => spawnSync(process.execPath, [main, ...args], { encoding: "utf8" });
/** What was said on standard error besides progress. */
const said = ({ stderr }: { stderr: string }) => stderr.replace(/^(?:applying|taking back): .*\n/gm, "");
const ends: (() => unknown)[] = [];
afterAll(() => {
  for (const end of ends.reverse()) end();
});
const newNight = (...args: Parameters<typeof testNight>) => {
  const night = testNight(...args);
  ends.push(night.remove);
  return night;
};
const journalsOf = (night: TestNight) =>
  readdirSync(join(night.out, "journals")).map((name) => join(night.out, "journals", name));
const atUtc = "2026-03-15T08:30:00.000Z";
const posix = process.platform !== "win32";

/** Runs a command as a user without special rights; null: cannot be done here. */
function asUser(...args: string[]) {
  const nobody = 65_534;
  const who = process.getuid?.() === 0 ? { uid: nobody, gid: nobody } : {};
  return spawnSync(process.execPath, [main, ...args], { encoding: "utf8", ...who });
}
const canBeUser = posix && asUser("--version").status === 0;

describe.skipIf(!canBeUser)(
  `write-protected folders${canBeUser ? "" : " (no user without special rights here)"}`,
  () => {
    it("copies from them; refuses to move out of them before anything is done", () => {
      const night = newNight(["a.fits", "b.fits"]);
      for (const folder of [night.root, night.out]) chmodSync(folder, 0o777);
      for (const file of night.files) chmodSync(join(night.subs, file), 0o444);
      chmodSync(night.subs, 0o555);
      const before = inventory([night.subs]);
      const moved = asUser("apply", night.out, "--move-to", night.dest);
      expect(moved.stderr).toContain(`Subs cannot be moved out of ${night.subs}: it is write-protected`);
      expect(moved.stderr).toContain("Use --copy-to or --link-to. Nothing was done");
      expect(moved.status).toBe(3);
      expect(existsSync(night.dest)).toBe(false);
      const copied = asUser("apply", night.out, "--copy-to", night.dest);
      expect(said(copied)).toBe("");
      expect(copied.status).toBe(0);
      expect(inventory([night.subs])).toEqual(before);
      const journal = journalsOf(night).find((path) => path.endsWith("copy.jsonl"))!;
      expect(asUser("undo", journal).status).toBe(0);
      expect(existsSync(night.dest)).toBe(false);
      chmodSync(night.subs, 0o755);
      chmodSync(night.out, 0o555);
      expect(asUser("apply", night.out, "--copy-to", `${night.dest}2`).status).toBe(0); // journals/ is its own
      rmSync(join(night.out, "journals"), { recursive: true });
      expect(asUser("apply", night.out, "--copy-to", `${night.dest}3`).stderr).toContain("The journal lies there");
    });
  },
);

/** A disk in memory with little room; null: may not be made here. */
function smallDisk(options: string): string | null {
  const folder = mkdtempSync(join(tmpdir(), "nightyield-small-"));
  ends.push(() => rmSync(folder, { recursive: true, force: true }));
  if (spawnSync("mount", ["-t", "tmpfs", "-o", options, "tmpfs", folder]).status !== 0) return null;
  ends.push(() => spawnSync("umount", [folder]));
  return folder;
}
const small = posix ? smallDisk("size=256k") : null;

describe.skipIf(small === null)(`a small disk${small === null ? " (may not be mounted here: needs root)" : ""}`, () => {
  const files = Array.from({ length: 10 }, (_, i) => `s${i}.fits`);

  it("full before it starts: says how much is missing and does nothing", () => {
    const night = newNight(files, 100_000);
    const ended = run("apply", night.out, "--copy-to", join(small!, "dest"));
    // Six kept subs of 100 000 bytes and a little, in blocks of 4096; 256 KiB are free; kB are rounded up.
    expect(ended.stderr).toContain("has 263 kB free, the subs need 615 kB: 353 kB are missing");
    expect(ended.status).toBe(3);
    expect(readdirSync(small!)).toEqual([]);
    expect(existsSync(join(night.out, "journals")) ? journalsOf(night) : []).toEqual([]);
  });

  it.each(["copy", "move"] as const)(
    "full on the way: %s stops cleanly, says how much is missing, goes on later",
    async (how) => {
      const night = newNight(files, 100_000);
      const before = inventory([night.subs]);
      const dest = join(small!, "dest");
      const blind = { ...disk, freeBytes: (path: string) => (path === dest ? disk.freeBytes(path) : null) };
      const applied = await applyVerdicts(night.out, { how, dest }, { atUtc, ops: blind });
      expect(applied.done).toBe(2);
      expect(applied.stopped).toMatch(/dest is full: the 4 subs left need 410 kB, \d+ kB are free, \d+ kB are missing/);
      expect(inventory([dest], "with").length).toBe(2);
      expect(inventory([night.subs, dest], "with").length).toBe(how === "move" ? 10 : 12);
      const { attention } = await undoApply(applied.journal!, {});
      expect(attention).toEqual([]);
      expect(inventory([night.subs])).toEqual(before);
      expect(readdirSync(small!)).toEqual([]);
    },
  );

  it("a write-protected disk: copies from it, does not move", () => {
    const card = smallDisk("size=4m");
    const night = newNight(["a.fits", "b.fits"], 1000, card!);
    const [out, dest] = [join(tmpdir(), basename(night.root)), join(tmpdir(), `${basename(night.root)}-dest`)];
    for (const folder of [out, dest]) ends.push(() => rmSync(folder, { recursive: true, force: true }));
    ends.push(() => spawnSync("mount", ["-o", "remount,rw", card!]));
    mkdirSync(out);
    triageAgain({ ...night, out });
    expect(spawnSync("mount", ["-o", "remount,ro", card!]).status).toBe(0);
    const moved = run("apply", out, "--move-to", dest);
    expect(moved.stderr).toContain("is write-protected (EROFS");
    expect(moved.status).toBe(3);
    const copied = run("apply", out, "--copy-to", dest);
    expect(said(copied)).toBe("");
    const linked = run("apply", out, "--link-to", join(dest, "links"));
    expect(linked.stdout).toContain("2 are symbolic links, because");
    expect(readFileSync(join(dest, "links/a.fits"))).toEqual(readFileSync(join(night.subs, "a.fits")));
  });
});
