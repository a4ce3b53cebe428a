// Every scenario is made, triaged and scored; a contact sheet of each is left in nightyield-out/contact-sheets to look at.
// Twelve frames a night are enough to see that nothing is lost; ALL_FRAMES=1 makes whole nights, for scores that mean
// something.
import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, describe, expect, it } from "vitest";
import { triageNight } from "../../src/night.js";
import { openFile } from "../../src/read/file-bytes.js";
import { firstImage, openPixels } from "../../src/read/hdu.js";
import { parseScenario } from "../../src/simulate/scenario.js";
import type { FrameTruth } from "../../src/simulate/truth.js";
import { writeNights } from "../../src/simulate/write-night.js";
import { FitsError } from "../../src/terms/errors.js";
import { contactSheet, type Picture, pngOf, type Stretch, stretched, stretchFor } from "../house/contact-sheet.js";
import { score, scoreLines } from "../house/scorer.js";

const folder = fileURLToPath(new URL("../scenarios/", import.meta.url));
const sheets = fileURLToPath(new URL("../../nightyield-out/contact-sheets/", import.meta.url));
const scratch = mkdtempSync(join(tmpdir(), "nightyield-scenarios-"));
afterAll(() => rmSync(scratch, { recursive: true, force: true }));
mkdirSync(sheets, { recursive: true });
const frames = process.env.ALL_FRAMES ? {} : { frames: 12 };

describe.each(readdirSync(folder).filter((name) => name.endsWith(".json")))("%s", (name) => {
  const scenario = parseScenario(readFileSync(join(folder, name), "utf8"), name);
  const out = join(scratch, name);

  it("is made, triaged and scored; nothing is lost", async () => {
    const truth: FrameTruth[] = [];
    const several = scenario.nights.length > 1;
    const { folders } = writeNights(scenario, out, {
      ...frames,
      onFrame: (file) =>
        void truth.push(several ? { ...file.truth, file: `${file.night}/${file.truth.file}` } : file.truth),
    });
    const night = await triageNight(folders, { version: "test" });
    const result = score(night.table, truth);
    console.log(scoreLines(name, result).join("\n"));
    expect(result.missing).toEqual([]);
    expect(result.extra).toEqual([]);
    expect(result.wrongKind).toEqual([]);
    const altitude = result.columns.find(({ column }) => column === "altitudeDeg")!;
    expect(altitude.rows).toBeGreaterThan(7);
    // The site in the headers is rounded to an arcsecond and more: 0.001 degrees at most.
    expect(altitude.worst).toBeLessThan(0.001);
    writeFileSync(join(sheets, name.replace(".json", ".png")), pngOf(contactSheet(picturesOf(folders), 4)));
  });
});

/** Some twelve frames of the nights, all stretched like the first. */
function picturesOf(folders: readonly string[]): Picture[] {
  const paths = folders.flatMap((path) => readdirSync(path).map((file) => join(path, file)));
  const step = Math.max(1, Math.floor(paths.length / 12));
  let stretch: Stretch | undefined;
  const pictures: Picture[] = [];
  for (const path of paths.filter((_, i) => i % step === 0)) {
    const source = openFile(path);
    try {
      const { hdu, source: bytes } = firstImage(source);
      const reader = openPixels(bytes, hdu);
      const pixels = new Uint16Array(reader.width * reader.height);
      reader.readRows(0, reader.height, pixels);
      stretch ??= stretchFor(pixels);
      pictures.push(stretched(pixels, reader.width, reader.height, 1, stretch));
    } catch (error) {
      if (!(error instanceof FitsError)) throw error;
    } finally {
      source.close();
    }
  }
  return pictures;
}
