// bundle and verify as a user calls them: what agrees passes, one altered number is named, a missing sub is named, and
// nothing private is in the bundle unless asked for. The zip itself is read and written by Python's zipfile as well.
import { spawnSync } from "node:child_process";
import { cpSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { defaultLimits } from "../../src/grade/limits.js";
import { type BundleManifest, manifestName } from "../../src/notebook/bundle-manifest.js";
import { compareJson } from "../../src/notebook/compare-json.js";
import { agrees, compareTables } from "../../src/notebook/compare-tables.js";
import { sha256 } from "../../src/notebook/make-bundle.js";
import { noteWithoutSite, withoutPaths } from "../../src/notebook/private-text.js";
import { writeNotebook } from "../../src/notebook/write-notebook.js";
import { readZip, writeZip } from "../../src/notebook/zip.js";
import { readEcsv, writeEcsv } from "../../src/terms/ecsv.js";
import { frameTable, type NumberColumnName, withColumns } from "../../src/terms/frame-table.js";
import { full } from "../house/size.js";
import { hasPython, python, withoutPython } from "../reference/python.js";
import { code, notebookOf } from "./notebook-kernels.js";
import { nightOf } from "./spawned.js";
import { triaged } from "./triaged.js";

const root = fileURLToPath(new URL("../../", import.meta.url));
const folder = mkdtempSync(join(tmpdir(), "nightyield-bundle-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const run = (...args: string[]) =>
  spawnSync(process.execPath, [join(root, "dist/cli/main.js"), ...args], { encoding: "utf8", cwd: folder });
const bytesOf = (name: string) => readFileSync(join(folder, name));
const textsOf = (zip: Uint8Array) =>
  new Map(readZip(zip, "zip").map(({ name, bytes }) => [name, Buffer.from(bytes).toString("utf8")]));

const writeTexts = (name: string, files: ReadonlyMap<string, string>) =>
  writeFileSync(join(folder, name), writeZip([...files].map(([at, text]) => ({ name: at, bytes: Buffer.from(text) }))));

/** A bundle with something changed, and a manifest that hides it. */
function altered(change: (files: Map<string, string>) => void, of = "night.zip"): string {
  const files = textsOf(bytesOf(of));
  change(files);
  const manifest = JSON.parse(files.get(manifestName)!) as BundleManifest;
  const contents = manifest.contents.map((content) => ({
    ...content,
    sha256: sha256(Buffer.from(files.get(content.name)!)),
  }));
  files.set(manifestName, JSON.stringify({ ...manifest, contents }));
  writeTexts("altered.zip", files);
  return "altered.zip";
}
/** A bundle of a result of triage as it is without its notebook: where that is not looked at, no kernel need run it. */
function bundleWithoutNotebook(out: string, zip: string): void {
  cpSync(join(folder, out), join(folder, `${out}-table`), { recursive: true });
  rmSync(join(folder, `${out}-table`, "triage.ipynb"));
  expect(run("bundle", `${out}-table`, "--out", zip).status).toBe(0);
}
const changeNumber = (column: NumberColumnName, row: number, factor: number) => (files: Map<string, string>) => {
  const table = readEcsv(files.get("frames.ecsv")!, "frames.ecsv");
  const values = Float64Array.from(table[column], (value, i) => (i === row ? value * factor : value));
  files.set("frames.ecsv", writeEcsv(withColumns(table, { [column]: values })));
};

describe("bundle and verify", () => {
  beforeAll(async () => {
    nightOf("cloud", join(folder, "sky"), 12);
    await triaged([join(folder, "sky/nights")], join(folder, "out"));
    const source = `const folder = "nowhere";\nconst site = "50.28713,9.91427";\nconst limit = 3;`;
    const notebook = notebookOf(
      code("p", source, "parameters"),
      code(
        "n",
        'import { readdirSync } from "node:fs";\nconsole.log(readdirSync(folder, { recursive: true }).length * limit);',
      ),
      code("t", "[1 / 3, folder.length > 0]"),
    );
    writeFileSync(join(folder, "plain.ipynb"), writeNotebook(notebook));
    const ran = run("run", "plain.ipynb", "--set", `folder=${join(folder, "sky/nights")}`, "--out", "out/triage.ipynb");
    expect([ran.status, ran.stderr]).toEqual([0, expect.any(String)]);
    const ended = run("bundle", "out", "--out", "night.zip");
    expect([ended.status, ended.stderr]).toEqual([0, expect.any(String)]);
    bundleWithoutNotebook("out", "table.zip");
  }, 120_000);

  it("packs what it lists, and the same bytes each time", () => {
    const files = textsOf(bytesOf("night.zip"));
    const manifest = JSON.parse(files.get(manifestName)!) as BundleManifest;
    expect([...files.keys()].sort()).toEqual([manifestName, ...manifest.contents.map(({ name }) => name)].sort());
    expect([...files.keys()].sort()).toEqual(["frames.ecsv", manifestName, "summary.json", "triage.ipynb"]);
    expect(manifest.subs.length).toBe(12);
    expect(manifest.parameters["triage.ipynb"]).toMatchObject({ limit: "3" });
    expect(run("bundle", "out", "--out", "again.zip").status).toBe(0);
    expect(bytesOf("again.zip").equals(bytesOf("night.zip"))).toBe(true);
  });

  it("holds no path and no exact place, unless asked for", () => {
    const hidden = [...textsOf(bytesOf("night.zip")).values()].join("\n");
    expect(hidden).not.toContain(folder);
    expect(hidden).not.toMatch(/50\.28713|9\.91427/);
    const altitude = readEcsv(textsOf(bytesOf("night.zip")).get("frames.ecsv")!, "f").altitudeDeg;
    expect(Array.from(altitude).every(Number.isInteger)).toBe(true);
    expect(run("bundle", "out", "--out", "open.zip", "--with-site", "--with-paths").status).toBe(0);
    const open = textsOf(bytesOf("open.zip"));
    expect(open.get("triage.ipynb")).toContain(folder);
    expect(open.get("triage.ipynb")).toContain("50.28713");
    expect(open.get("frames.ecsv")).toBe(readFileSync(join(folder, "out/frames.ecsv"), "utf8"));
  });

  it("keeps site and targets to a tenth of a degree, and the plan still finds them", () => {
    const whole = JSON.parse(readFileSync(join(folder, "out/summary.json"), "utf8"));
    // The scenario's garden and target: 50.3127 N, 9.8642 E, 310 m, as its headers round them.
    expect(whole.site).toMatchObject({ heightM: 310 });
    expect([whole.site.latitudeDeg, whole.site.longitudeDeg].every((deg: number) => !Number.isInteger(10 * deg))).toBe(
      true,
    );
    const shared = textsOf(bytesOf("night.zip"));
    const summary = JSON.parse(shared.get("summary.json")!);
    expect(summary.site).toEqual({ latitudeDeg: 50.3, longitudeDeg: 9.9, heightM: 300 });
    const tenth = (deg: number) => Number(deg.toFixed(1));
    for (const [i, { place, camera }] of summary.setups.entries()) {
      expect(place).toEqual({ raDeg: tenth(place.raDeg), decDeg: tenth(place.decDeg) });
      expect(camera).toEqual(whole.setups[i].camera);
    }
    expect(summary.setups.length).toBeGreaterThan(0);
    expect(shared.get(manifestName)).toContain(
      "of site and targets in summary.json to 0.1 degree, its height to 100 m",
    );
    const digits = String(whole.site.longitudeDeg).slice(0, 6);
    expect([...shared.values()].join("\n")).not.toContain(digits);
    expect(JSON.parse(textsOf(bytesOf("open.zip")).get("summary.json")!).site).toEqual(whole.site);
    // Notes of contradictory cards hold coordinates as well.
    expect(
      noteWithoutSite(
        "SITELONG is 9.86417, LONG-OBS -9.86421: the first was taken; EXPTIME is 30.25 s, EXPOSURE 60.75 s",
      ),
    ).toBe("SITELONG is 9.8, LONG-OBS -9.8: the first was taken; EXPTIME is 30.25 s, EXPOSURE 60.75 s");
    expect(noteWithoutSite("height of the site given as 312, the header says 309.5: the given one was taken")).toBe(
      "height of the site given as (left out), the header says (left out): the given one was taken",
    );
  });

  it("agrees with itself: table, subs, measurements and notebook", () => {
    const ended = run("verify", "night.zip", "--subs", "sky/nights");
    expect([ended.status, ended.stderr]).toEqual([0, expect.not.stringContaining("in the bundle")]);
    for (const says of [
      "every cell of the table",
      "graded again",
      "against their hashes (12 rows): 12 values",
      "measured again",
      "triage.ipynb, run again",
    ])
      expect(ended.stdout).toContain(says);
    expect(ended.stdout.match(/^same {5}/gm)?.length).toBe(6);
  });

  it("without the subs it grades again and says what it could not do", () => {
    const ended = run("verify", "night.zip");
    expect(ended.status).toBe(0);
    expect(ended.stdout).toContain("it needs the subs, give --subs FOLDER");
  });

  it.each([
    ["weight", 1.0001, []],
    ["exposureS", 2, []],
    ["fwhmPx", 1.00001, ["--subs", "sky/nights"]],
    ["altitudeDeg", 1.2, ["--subs", "sky/nights"]],
  ] as const)("one altered %s is found and named, although the hashes fit", (column, factor, args) => {
    const ended = run("verify", altered(changeNumber(column, 5, factor), "table.zip"), ...args);
    const file = readEcsv(textsOf(bytesOf("night.zip")).get("frames.ecsv")!, "f").file[5]!;
    expect(ended.status).toBe(1);
    // Grading a graded table takes the light of a sub from its weight, so an altered weight shows in what follows from it.
    const named = column === "exposureS" || column === "weight" ? "effectiveExposureS" : column;
    expect(ended.stderr).toMatch(new RegExp(`${file}, ${named}: \\S+ in the bundle, \\S+ now`));
  });

  it("an altered output of a notebook is found and named", () => {
    const change = (files: Map<string, string>) =>
      files.set("triage.ipynb", files.get("triage.ipynb")!.replace("0.333", "0.334"));
    const ended = run("verify", altered(change), "--subs", "sky/nights");
    expect([ended.status, ended.stderr]).toEqual([
      1,
      expect.stringMatching(/triage\.ipynb, cell \d+ \(id t\), .*0\.334/),
    ]);
  });

  it("an altered file is found by its hash, and a damaged zip by its checksum", () => {
    const files = readZip(bytesOf("table.zip"), "zip").map(({ name, bytes }) => ({
      name,
      bytes: name === "summary.json" ? Buffer.concat([bytes, Buffer.from(" ")]) : bytes,
    }));
    writeFileSync(join(folder, "swapped.zip"), writeZip(files));
    const swapped = run("verify", "swapped.zip");
    expect([swapped.status, swapped.stderr]).toEqual([1, expect.stringContaining("the bundle, summary.json, sha256")]);
    const damaged = Buffer.from(bytesOf("night.zip"));
    damaged[2000]! ^= 1;
    writeFileSync(join(folder, "damaged.zip"), damaged);
    const ended = run("verify", "damaged.zip");
    expect([ended.status, ended.stderr]).toEqual([
      3,
      expect.stringMatching(/Cannot read damaged\.zip: .*Copy it again/),
    ]);
  });

  it("a missing and a changed sub are named", () => {
    cpSync(join(folder, "sky/nights"), join(folder, "fewer"), { recursive: true });
    const names = readdirSync(join(folder, "fewer"), { recursive: true, encoding: "utf8" }).filter((n) =>
      /\.fits/.test(n),
    );
    const [gone, changed] = [names.sort()[3]!, names[4]!];
    rmSync(join(folder, "fewer", gone));
    const bytes = readFileSync(join(folder, "fewer", changed));
    bytes[bytes.length - 3000]! ^= 255;
    writeFileSync(join(folder, "fewer", changed), bytes);
    const ended = run("verify", "table.zip", "--subs", "fewer");
    expect(ended.status).toBe(1);
    expect(ended.stderr).toContain(
      `the subs, ${gone.replaceAll("\\", "/")}, file: was there in the bundle, is missing now`,
    );
    expect(ended.stderr).toContain(`the subs, ${changed.replaceAll("\\", "/")}, sha256: `);
  });

  it.each([
    [["bundle", "out"], 2, "--out FILE.zip"],
    [["bundle", "sky", "--out", "x.zip"], 2, "holds no frames.ecsv"],
    [["verify", "gone.zip"], 2, "Cannot read the bundle"],
    [["verify", "plain.ipynb"], 3, "it is no zip file"],
  ] as const)("%j ends with %i", (args, status, says) => {
    const ended = run(...args);
    expect([ended.status, ended.stderr]).toEqual([status, expect.stringContaining(says)]);
    expect(ended.stderr).not.toContain("    at ");
  });
});

describe.skipIf(!hasPython("zipfile"))(
  `zip files${hasPython("zipfile") ? "" : ` (${withoutPython("zipfile")})`}`,
  () => {
    const entries = [
      { name: "a.txt", bytes: Buffer.from("hello ".repeat(1000)) },
      { name: "b/ü.bin", bytes: Uint8Array.from({ length: 300 }, (_, i) => (i * 7919) & 255) },
      { name: "empty", bytes: new Uint8Array(0) },
    ];
    const asked = (program: string, path: string) => {
      const ended = spawnSync(python, ["-c", program, path], { encoding: "utf8" });
      if (ended.status !== 0) throw new Error(ended.stderr);
      return ended.stdout;
    };

    it("ours is read by Python, and Python's by us", () => {
      mkdirSync(join(folder, "zips"));
      const path = join(folder, "zips/ours.zip");
      writeFileSync(path, writeZip(entries));
      const list = asked(
        "import zipfile,sys,json\nz=zipfile.ZipFile(sys.argv[1])\nassert z.testzip() is None\nprint(json.dumps([[n,z.read(n).hex()] for n in z.namelist()]))",
        path,
      );
      expect(JSON.parse(list)).toEqual(entries.map(({ name, bytes }) => [name, Buffer.from(bytes).toString("hex")]));
      const theirs = join(folder, "zips/theirs.zip");
      asked(
        "import zipfile,sys\nwith zipfile.ZipFile(sys.argv[1],'w',zipfile.ZIP_DEFLATED) as z:\n z.writestr('ü.txt','x'*5000); z.writestr('stored',b'abc',zipfile.ZIP_STORED); z.comment=b'a comment'",
        theirs,
      );
      const read = readZip(readFileSync(theirs), "theirs.zip");
      expect(read.map(({ name, bytes }) => [name, bytes.length])).toEqual([
        ["ü.txt", 5000],
        ["stored", 3],
      ]);
    });

    it("names that lead outside are refused", () => {
      for (const name of ["../x", "/x", "a/../../x", "C:/x", "a\\x"])
        expect(() => readZip(writeZip([{ name, bytes: Buffer.from("x") }]), "z")).toThrow("leads outside");
    });
  },
);

describe("comparing and hiding", () => {
  it("numbers agree within the stated tolerance and not beyond; not measured agrees with itself only", () => {
    expect([agrees(1, 1 + 9e-7), agrees(1, 1 + 2e-6), agrees(0, 9e-10), agrees(0, 2e-9)]).toEqual([
      true,
      false,
      true,
      false,
    ]);
    expect([agrees(Number.NaN, Number.NaN), agrees(Number.NaN, 0)]).toEqual([true, false]);
    const table = (altitude: number) => frameTable(1, { file: ["a"], altitudeDeg: [altitude] });
    const rounded = { altitudeDeg: 0 };
    const count = (now: number) => compareTables(table(41), table(now), { where: "t", rounded }).differences.length;
    expect([count(41.5), count(40.5), count(41.51), count(Number.NaN)]).toEqual([0, 0, 1, 1]);
  });

  it("texts agree where only numbers differ within the tolerance", () => {
    const at = { where: "w", row: "r" };
    expect(compareJson({ a: ["x 1.0000001 y"] }, { a: ["x 1 y"] }, at).differences).toEqual([]);
    expect(compareJson({ a: ["x\nx 1.1 y", 2] }, { a: ["x\nx 1 y"] }, at).differences).toEqual([
      { ...at, column: "a[0]", bundled: "x 1.1 y", found: "x 1 y" },
      { ...at, column: "a[1]", bundled: "2", found: "nothing" },
    ]);
  });

  it.each([
    ["see /home/ann/my/night/sub_1.fits, please", "see .../sub_1.fits, please"],
    ['"C:\\\\Users\\\\Ann\\\\night\\\\a.fits"', '".../a.fits"'],
    ["C:\\Users\\Ann\\a.fits D:/x/b.fits", ".../a.fits .../b.fits"],
    ["\\\\server\\ann\\a.fits", ".../a.fits"],
    ["file:///home/ann/x", "file:.../x"],
    ["~/night/a.fits", ".../a.fits"],
    ["https://example.org/a/b", "https://example.org/a/b"],
    [
      "km/h, 3/4, text/html, nights/a/b.fits, <b>x</b>, a / b",
      "km/h, 3/4, text/html, nights/a/b.fits, <b>x</b>, a / b",
    ],
    ['<img src="data:image/jpeg;base64,/9j/4AAQ/x==">', '<img src="data:image/jpeg;base64,/9j/4AAQ/x==">'],
  ])("%j without paths", (text, hidden) => {
    expect(withoutPaths(text)).toBe(hidden);
  });

  it("folders that are known go whole, spaces and all", () => {
    expect(withoutPaths("in /media/Ann B/nights/a 1.fits", ["/media/Ann B/nights"])).toBe("in .../a 1.fits");
  });
});

describe("a night graded for another purpose", () => {
  it("says so, opens as it was graded, and verifies", async () => {
    nightOf("satellites", join(folder, "lines"), 16);
    await triaged([join(folder, "lines/nights")], join(folder, "plain"));
    expect(run("triage", "lines/nights", "--out", "sharp", "--purpose", "detail", "--drop-streaks").status).toBe(0);
    const verdictsIn = (name: string) =>
      readEcsv(readFileSync(join(folder, name, "frames.ecsv"), "utf8"), "frames.ecsv").verdict;
    expect(verdictsIn("sharp")).not.toEqual(verdictsIn("plain"));
    expect(readFileSync(join(folder, "sharp/report.html"), "utf8")).toContain("small sharp objects");
    bundleWithoutNotebook("sharp", "sharp-table.zip");
    // With its notebook, which is run for the bundle and again to verify it, in CI only: every day one of them is enough.
    if (full) expect(run("bundle", "sharp", "--out", "sharp.zip").status).toBe(0);
    const again = run("verify", full ? "sharp.zip" : "sharp-table.zip", "--subs", "lines/nights");
    expect([again.status, again.stderr], again.stdout).toEqual([0, expect.any(String)]);
    // The same bundle with the usual limits in its manifest does not agree: the limits are what made it agree.
    expect(run("verify", "sharp-table.zip").status).toBe(0);
    const files = textsOf(bytesOf("sharp-table.zip"));
    const manifest = JSON.parse(files.get(manifestName)!) as BundleManifest;
    files.set(manifestName, JSON.stringify({ ...manifest, limits: defaultLimits }));
    writeTexts("usual.zip", files);
    expect(run("verify", "usual.zip").status).toBe(1);
  }, 120_000);
});
