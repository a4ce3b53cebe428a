// apply and undo as a user calls them, on odd names and on subs that changed; full disks: apply-disks.test.ts.
import { spawn, spawnSync } from "node:child_process";
import {
  appendFileSync,
  existsSync,
  linkSync,
  lstatSync,
  lutimesSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  readlinkSync,
  renameSync,
  rmSync,
  symlinkSync,
  unlinkSync,
  utimesSync,
  writeFileSync,
} from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, describe, expect, it } from "vitest";
import { nthName } from "../../src/act/new-name.js";
import { undoApply } from "../../src/act/undo.js";
import { contentKey } from "../../src/measure/content-key.js";
import { openFile } from "../../src/read/file-bytes.js";
import { inventory, oddNames, type TestNight, testNight, triageAgain, verdictOf } from "../properties/act-night.js";

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
const keptOf = (files: readonly string[]) =>
  files.filter((_, row) => verdictOf(row) === "keep" || verdictOf(row) === "borderline");
const namesBelow = (folder: string) =>
  readdirSync(folder, { recursive: true, encoding: "utf8" })
    .filter((name) => !lstatSync(join(folder, name)).isDirectory())
    .map((name) => name.replaceAll("\\", "/"))
    .sort();
/** Windows knows neither quotes in names nor, everywhere, symbolic links. */
const posix = process.platform !== "win32";

describe.skipIf(!posix)("apply and undo", () => {
  it.each(["copy", "move", "link"])("--%s-to takes odd names there and undo takes all back", (how) => {
    const night = newNight();
    const before = inventory([night.subs]);
    const ended = run("apply", night.out, `--${how}-to`, night.dest);
    expect(said(ended)).toBe("");
    expect(ended.status).toBe(0);
    expect(namesBelow(night.dest)).toEqual([...keptOf(night.files)].sort());
    for (const { path, sha256, mtimeMs } of inventory([night.dest])) {
      const original = before.find((item) => item.path === path.replace(night.dest, night.subs))!;
      expect([sha256, mtimeMs]).toEqual([original.sha256, original.mtimeMs]);
    }
    if (how === "move") expect(namesBelow(night.subs).length).toBe(night.files.length - keptOf(night.files).length);
    else expect(inventory([night.subs])).toEqual(before);
    const [journal] = journalsOf(night);
    expect(ended.stdout).toContain(`nightyield undo ${journal}`);
    const undone = run("undo", journal!);
    expect(undone.stdout).toBe(`${keptOf(night.files).length} subs taken back\n`);
    expect(undone.status).toBe(0);
    expect(inventory([night.subs])).toEqual(before);
    expect(existsSync(night.dest)).toBe(false);
    expect(run("undo", journal!).stdout).toContain("nothing to do");
  });

  it("--drops sorts into keep and drop; a decision by hand counts", () => {
    const night = newNight(["a.fits", "b.fits", "c.fits", "d.fits", "e.fits"]);
    expect(run("mark", night.out, "a.fits", "--as", "drop").status).toBe(0);
    expect(run("apply", night.out, "--copy-to", night.dest, "--drops").status).toBe(0);
    expect(namesBelow(night.dest)).toEqual(["drop/a.fits", "drop/c.fits", "keep/b.fits", "keep/d.fits"]);
  });

  it("never replaces: the same content is left, another content gives a new name, also where only capitals differ", () => {
    const night = newNight(["1/s.fits", "2/s.fits", "x/no.fits", "3/s.fits"]);
    mkdirSync(night.dest);
    writeFileSync(join(night.dest, "s.fits"), "the user's own");
    writeFileSync(join(night.dest, "s-3.fits"), readFileSync(join(night.subs, "2/s.fits")));
    const ended = run("apply", night.out, "--copy-to", night.dest, "--flat");
    expect(ended.status).toBe(0);
    expect(ended.stdout).toContain("2 subs copied");
    expect(ended.stdout).toContain("1 left where they are: the same content");
    expect(ended.stdout).toContain(`1/s.fits is ${join(night.dest, "s-2.fits")}: its own name was taken`);
    expect(namesBelow(night.dest)).toEqual(["s-2.fits", "s-3.fits", "s-4.fits", "s.fits"]);
    expect(readFileSync(join(night.dest, "s.fits"), "utf8")).toBe("the user's own");
    // Once more: everything is there.
    const again = run("apply", night.out, "--copy-to", night.dest, "--flat");
    expect(again.stdout).toContain("3 left where they are");
    expect(namesBelow(night.dest).length).toBe(4);
    for (const journal of journalsOf(night)) expect(run("undo", journal).status).toBe(0);
    expect(namesBelow(night.dest)).toEqual(["s-3.fits", "s.fits"]);
  });

  it("new names keep the ending and stay within 255 bytes", () => {
    expect(nthName("a.fits.fz", 2)).toBe("a-2.fits.fz");
    expect(nthName("a.b.FIT.gz", 12)).toBe("a.b-12.FIT.gz");
    expect(nthName("plain", 3)).toBe("plain-3");
    const long = `${"é".repeat(125)}.fits`; // 255 bytes
    expect(Buffer.byteLength(long)).toBe(255);
    expect(nthName(long, 2)).toBe(`${"é".repeat(124)}-2.fits`);
    expect(nthName(long, 10)).toBe(`${"é".repeat(123)}-10.fits`);
    expect(nthName(`${"😀".repeat(62)}.fits`, 10)).toBe(`${"😀".repeat(61)}-10.fits`);
  });

  it("names what changed or vanished since the triage and does not touch it", () => {
    const night = newNight(["a.fits", "b.fits", "c.fits", "d.fits", "e.fits", "f.fits"]);
    appendFileSync(join(night.subs, "a.fits"), "more");
    unlinkSync(join(night.subs, "b.fits"));
    utimesSync(join(night.subs, "d.fits"), 1, 1);
    const ended = run("apply", night.out, "--move-to", night.dest);
    expect(ended.status).toBe(1);
    const lines = said(ended).trim().split("\n");
    expect(lines.length).toBe(3);
    expect(lines[0]).toContain("a.fits: it was changed since the triage");
    expect(lines[1]).toContain("b.fits: it is no longer at");
    expect(lines[2]).toContain("d.fits: it was changed since the triage");
    expect(namesBelow(night.dest)).toEqual(["f.fits"]);
    // The moved one is missed the next time, and the journal knows where it is.
    const again = run("apply", night.out, "--copy-to", join(night.root, "other"));
    expect(again.stderr).toContain(
      `f.fits: it was moved to ${join(night.dest, "f.fits")} (journal ${journalsOf(night)[0]}`,
    );
    expect(again.status).toBe(1);
  });

  it("where triage left keys of the content, another time alone is no change, another content is", () => {
    const night = newNight(["a.fits", "b.fits"]);
    const paths = night.files.map((file) => join(night.subs, file));
    const keys = paths.map((path) => {
      const source = openFile(path, path);
      const { key } = contentKey(source);
      source.close();
      return key;
    });
    triageAgain(night, [night.subs], keys);
    const bytes = readFileSync(paths[1]!);
    bytes[7]! ^= 1;
    writeFileSync(paths[1]!, bytes);
    for (const path of paths) utimesSync(path, 1, 1);
    const ended = run("apply", night.out, "--copy-to", night.dest);
    expect(said(ended)).toBe("attention: not touched: b.fits: it was changed since the triage; run triage again\n");
    expect(namesBelow(night.dest)).toEqual(["a.fits"]);
  });

  it("undo leaves what was changed since, keeps the last copy of a sub, and goes on when asked again", () => {
    const night = newNight(["a.fits", "b.fits", "c.fits", "d.fits"]);
    run("apply", night.out, "--copy-to", night.dest);
    appendFileSync(join(night.dest, "a.fits"), "stacked");
    const b = readFileSync(join(night.subs, "b.fits"));
    unlinkSync(join(night.subs, "b.fits"));
    const [journal] = journalsOf(night);
    const ended = run("undo", journal!);
    expect(ended.status).toBe(1);
    expect(ended.stderr).toContain("a.fits was changed after it came");
    expect(ended.stderr).toContain(`b.fits no longer holds it, so the copy ${join(night.dest, "b.fits")} is kept`);
    expect(namesBelow(night.dest)).toEqual(["a.fits", "b.fits"]);
    writeFileSync(join(night.subs, "b.fits"), b);
    expect(run("undo", journal!).status).toBe(1);
    expect(namesBelow(night.dest)).toEqual(["a.fits"]);
  });

  it("undo of a move never replaces what has come to the old name", () => {
    const night = newNight(["a.fits"]);
    const before = inventory([night.subs]);
    run("apply", night.out, "--move-to", night.dest);
    writeFileSync(join(night.subs, "a.fits"), "another");
    const [journal] = journalsOf(night);
    const ended = run("undo", journal!);
    expect(ended.stderr).toContain("is something else now; the sub stays at");
    expect(readFileSync(join(night.subs, "a.fits"), "utf8")).toBe("another");
    unlinkSync(join(night.subs, "a.fits"));
    expect(run("undo", journal!).status).toBe(0);
    expect(inventory([night.subs])).toEqual(before);
  });

  it("undo does not remove the only name when the old folder has become a link to the new one", async () => {
    const night = newNight(["a.fits", "b.fits"]);
    run("apply", night.out, "--move-to", night.dest);
    rmSync(night.subs, { recursive: true });
    symlinkSync(night.dest, night.subs);
    const { attention } = await undoApply(journalsOf(night)[0]!, {});
    expect(attention.length).toBe(2);
    expect(namesBelow(night.dest)).toEqual(["a.fits", "b.fits"]);
  });

  it("takes symbolic links for what they lead to; a move moves the link", () => {
    const night = newNight(["a.fits", "link.fits", "c.fits", "inside.fits"]);
    // link.fits leads to a file outside, inside.fits to a.fits, which is moved itself.
    const real = join(night.root, "real.fits");
    renameSync(join(night.subs, "link.fits"), real);
    symlinkSync("../real.fits", join(night.subs, "link.fits"));
    lutimesSync(join(night.subs, "link.fits"), 1_750_000_000, 1_750_000_000.5); // times come back to the microsecond
    unlinkSync(join(night.subs, "inside.fits"));
    symlinkSync("a.fits", join(night.subs, "inside.fits"));
    triageAgain(night);
    const before = inventory([night.subs]);
    expect(run("apply", night.out, "--copy-to", join(night.root, "copied")).status).toBe(0);
    expect(lstatSync(join(night.root, "copied/link.fits")).isFile()).toBe(true);
    expect(readFileSync(join(night.root, "copied/link.fits"))).toEqual(readFileSync(real));
    expect(run("apply", night.out, "--link-to", join(night.root, "linked")).status).toBe(0);
    expect(lstatSync(join(night.root, "linked/link.fits")).ino).toBe(lstatSync(real).ino);
    const moved = run("apply", night.out, "--move-to", night.dest);
    expect(moved.stderr).toContain("inside.fits: it is a symbolic link to a sub that is moved itself");
    expect(readlinkSync(join(night.dest, "link.fits"))).toBe(real);
    expect(readFileSync(join(night.dest, "link.fits"))).toEqual(readFileSync(real));
    const journal = journalsOf(night).find((path) => path.endsWith("move.jsonl"))!;
    expect(run("undo", journal).status).toBe(0);
    expect(inventory([night.subs])).toEqual(before);
    expect(readlinkSync(join(night.subs, "link.fits"))).toBe("../real.fits");
  });

  it("--subs finds them where the folder is now, also with several folders", () => {
    const night = newNight(["n1/a.fits", "n2/b.fits"]);
    triageAgain(night, [join(night.subs, "n1"), join(night.subs, "n2")]);
    const elsewhere = join(night.root, "mounted elsewhere");
    renameSync(night.subs, elsewhere);
    const lost = run("apply", night.out, "--copy-to", night.dest);
    expect(lost.status).toBe(1);
    expect(lost.stderr).toContain("give the folder of the subs with --subs");
    expect(run("apply", night.out, "--copy-to", night.dest, "--subs", elsewhere).status).toBe(0);
    expect(namesBelow(night.dest)).toEqual(["n1/a.fits", "n2/b.fits"]);
  });

  it("Ctrl-C stops between two subs and leaves a journal to go on with", async () => {
    const files = Array.from({ length: 400 }, (_, i) => `s${i}.fits`);
    const night = newNight(files, 20_000);
    const before = inventory([night.subs]);
    const child = spawn(process.execPath, [main, "apply", night.out, "--move-to", night.dest]);
    let heard = "";
    child.stderr.on("data", (text) => {
      heard += text;
    });
    const ended = new Promise<number | null>((resolve) => child.on("close", resolve));
    while (!existsSync(night.dest) || readdirSync(night.dest).length < 3)
      await new Promise((done) => setTimeout(done, 2));
    child.kill("SIGINT");
    expect(await ended).toBe(3);
    expect(heard).toContain("finishing the sub at hand, then stopping");
    expect(heard).toMatch(/Stopped after \d+ subs: .+ Go on with: nightyield apply --resume /);
    expect(inventory([night.subs, night.dest], "with").length).toBe(files.length);
    const [journal] = journalsOf(night);
    expect(run("apply", "--resume", journal!).stdout).toContain("240 subs moved to");
    expect(namesBelow(night.dest).length).toBe(240);
    expect(run("apply", "--resume", journal!).status).toBe(2);
    expect(run("undo", journal!).status).toBe(0);
    expect(inventory([night.subs])).toEqual(before);
  });
});

describe("calls", () => {
  it.each([
    [["--copy-to", "x", "--move-to", "y"], 2, "one of --copy-to"],
    [[], 2, "one of --copy-to"],
    [["--resume", "nowhere.jsonl"], 2, "a journal and nothing else"],
    [["--copy-to", "SUBS/inside"], 2, "the next triage would count every sub twice"],
    [["--copy-to", "SUBS/a.fits"], 2, "is not a folder"],
  ] as const)("apply DIR %j ends with %i", (args, status, says) => {
    const night = newNight(["a.fits"]);
    const ended = run("apply", night.out, ...args.map((arg) => arg.replace("SUBS", night.subs)));
    expect(ended.stderr).toContain(says);
    expect(ended.status).toBe(status);
    expect(ended.stderr).not.toContain("    at ");
  });

  it("a folder in the place of a journal, and no journal", () => {
    const night = newNight(["a.fits"]);
    expect(run("undo", night.out).stderr).toContain("Give the journal itself");
    expect(run("undo", join(night.out, "keep.txt")).stderr).toContain("keep.txt");
    expect(run("undo", join(night.out, "keep.txt")).status).toBe(3);
  });
});

describe.skipIf(!posix)("oddities", () => {
  it("a name with a line break is applied, and left out of the lists with a word about it", () => {
    const night = newNight(["a\nb.fits", "c.fits"]);
    const { notes } = triageAgain(night);
    expect(notes.join()).toContain("line break in its name");
    expect(readFileSync(join(night.out, "keep.txt"), "utf8")).toBe(`${join(night.subs, "c.fits")}\n`);
    expect(run("apply", night.out, "--copy-to", night.dest).status).toBe(0);
    expect(namesBelow(night.dest)).toEqual(["a\nb.fits", "c.fits"]);
  });

  it("names that lead outside are refused, hard links of the user's own stay", () => {
    const night = newNight(["a.fits", "b.fits"]);
    const path = join(night.out, "night.json");
    for (const name of ["night.json", "frames.ecsv"]) {
      const file = join(night.out, name);
      writeFileSync(file, readFileSync(file, "utf8").replaceAll(/(?<![/\w])a\.fits/g, "../../a.fits"));
    }
    expect(readFileSync(path, "utf8")).toContain("../../a.fits");
    linkSync(join(night.subs, "b.fits"), join(night.subs, "second name.fits"));
    const ended = run("apply", night.out, "--move-to", night.dest);
    expect(ended.stderr).toContain("must lie inside the folder of the subs");
    expect(namesBelow(night.dest)).toEqual(["b.fits"]);
    expect(namesBelow(night.subs)).toEqual(["a.fits", "second name.fits"]);
  });

  it("long names that only differ in capitals or in the way an accent is written are two subs", () => {
    const stem = "x".repeat(240);
    const files = [
      `${stem}.fits`,
      `${stem.toUpperCase()}.fits`,
      "unused.fits",
      "é.fits",
      "unused2.fits",
      "e\u0301.fits",
    ];
    const night = newNight(files);
    if (namesBelow(night.subs).length < files.length) return; // this disk takes them for the same already
    expect(run("apply", night.out, "--copy-to", night.dest).status).toBe(0);
    expect(namesBelow(night.dest)).toEqual([...keptOf(files)].sort());
    expect(oddNames.length).toBeGreaterThan(5);
    expect(dirname(night.dest)).toBe(night.root);
  });
});
