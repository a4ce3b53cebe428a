import { basename, resolve } from "node:path";
import { gradeNight } from "./grade/grade-night.js";
import { summariseGroup } from "./grade/group-summary.js";
import type { Limits } from "./grade/limits.js";
import { type FrameMeasurement, measureFrame } from "./measure/measure-frame.js";
import { type ExposureFacts, exposureFacts, type Given } from "./read/exposure-facts.js";
import { openFile } from "./read/file-bytes.js";
import { type FoundFile, findFiles } from "./read/folders.js";
import { firstImage, openPixels } from "./read/hdu.js";
import type { NightResult } from "./show/night-result.js";
import { cornerBlurPx } from "./sky/field-rotation.js";
import { placeInSky } from "./sky/place-in-sky.js";
import { CannotError, FitsError } from "./terms/errors.js";
import { type FrameRow, type FrameTable, fromRows } from "./terms/frame-table.js";
import type { Symptom } from "./terms/symptoms.js";

/** What a night needs besides its folders. */
export interface NightRequest {
  /** Version of nightyield, for the record. */
  readonly version: string;
  /** What the headers do not say, or say wrongly. */
  readonly given?: Given;
  readonly limits?: Limits;
  /** Called after each file. */
  readonly onProgress?: (done: number, total: number, file: string) => void;
}

/** A measured night: one row a file, not graded yet. */
export interface MeasuredNight {
  readonly table: FrameTable;
  /** Names of the folders, without the way to them. */
  readonly folders: readonly string[];
  /** Absolute path of each row's file. */
  readonly paths: readonly string[];
  /** Symptoms that are known before grading: unreadable files. */
  readonly given: readonly (readonly Symptom[])[];
  /** What the user should know. */
  readonly notes: readonly string[];
  /** What needs the user's attention; empty on a good night. */
  readonly attention: readonly string[];
  readonly site: { readonly latitudeDeg: number; readonly longitudeDeg: number } | null;
}

/** A graded night with what the report needs. */
export type TriagedNight = NightResult & Pick<MeasuredNight, "paths" | "attention">;

/**
 * Reads, measures and places every file below the folders. A file that cannot be read becomes a row of kind
 * `unreadable`; the night goes on.
 * @throws CallError when a folder does not exist, CannotError when there is no FITS file in it
 */
export async function measureNight(folders: readonly string[], request: NightRequest): Promise<MeasuredNight> {
  const { files, otherFiles } = findFiles(folders);
  if (files.length === 0)
    throw new CannotError(
      `There are no FITS files (.fits, .fit, .fts, .fz, also .gz) below ${folders.join(", ")}. Give the folder that holds the night's subs`,
    );
  const rows: Row[] = [];
  const scratch: Scratch = {};
  for (const found of files) {
    rows.push(rowOf(found, request.given ?? [], scratch));
    request.onProgress?.(rows.length, files.length, found.file);
    // Lets signals and other work through between files.
    await new Promise((done) => setImmediate(done));
  }
  const notes: string[] = [];
  if (otherFiles > 0) notes.push(`${countOf(otherFiles, "file")} that by name are not FITS were left alone`);
  const table = fromRows(rows.map(({ row }) => row));
  const calibration = table.kind.filter((kind) => ["dark", "flat", "bias", "dark-flat"].includes(kind)).length;
  if (calibration > 0)
    notes.push(`${countOf(calibration, "dark, flat or bias frame")} recognised and left out of grading`);
  const unreadable = rows.filter(({ unreadable }) => unreadable !== null);
  const attention: string[] = unreadable.map(({ unreadable }) => unreadable!.message);
  const lights = rows.filter(({ row }) => row.kind === "light");
  const unplaced = lights.filter(({ row }) => Number.isNaN(row.altitudeDeg ?? Number.NaN));
  if (unplaced.length > 0)
    attention.push(
      `${unplaced.length} of ${countOf(lights.length, "light frame")} could not be placed in the sky: ${missingFor(unplaced)}`,
    );
  return {
    table,
    folders: folders.map((folder) => basename(resolve(folder))),
    paths: files.map(({ path }) => path),
    given: rows.map(({ unreadable }) => (unreadable === null ? [] : [unreadable.symptom])),
    notes,
    attention,
    site: rows.find(({ facts }) => facts?.site)?.facts?.site?.value ?? null,
  };
}

/**
 * The main job: measures a night and grades it.
 * @throws CallError, CannotError as {@link measureNight}
 */
export async function triageNight(folders: readonly string[], request: NightRequest): Promise<TriagedNight> {
  const measured = await measureNight(folders, request);
  const { table, symptomsOfRow, groups } = gradeNight(measured.table, {
    given: measured.given,
    ...(request.limits && { limits: request.limits }),
  });
  const summaries = groups.map((group) => summariseGroup(table, group));
  return { ...measured, table, symptomsOfRow, groups: summaries, version: request.version };
}

interface Row {
  readonly row: Partial<FrameRow>;
  readonly facts: ExposureFacts | null;
  readonly unreadable: { readonly message: string; readonly symptom: Symptom } | null;
}

interface Scratch {
  buffers?: FrameMeasurement["scratch"];
}

/** One file's row: read, described, measured (light frames only) and placed. */
function rowOf({ path, file }: FoundFile, given: Given, scratch: Scratch): Row {
  let facts: ExposureFacts | null = null;
  try {
    const source = openFile(path, file);
    try {
      const image = firstImage(source);
      facts = exposureFacts(image.headers, given);
      const reader = openPixels(image.source, image.hdu);
      const described = describedBy(file, facts, reader.width, reader.height);
      if (facts.kind.value !== "light") return { row: described, facts, unreadable: null };
      const measured = measureFrame(reader, {
        bayer: facts.bayer?.value ?? "",
        electronsPerAdu: facts.electronsPerAdu?.value ?? Number.NaN,
        saturationAdu: facts.saturationAdu?.value ?? Number.NaN,
        ...(scratch.buffers && { scratch: scratch.buffers }),
      });
      scratch.buffers = measured.scratch;
      const notes = [described.note ?? "", ...measured.notes].filter((note) => note !== "");
      return {
        row: { ...described, ...measuredBy(measured, facts), ...placedBy(facts, measured), note: notes.join("; ") },
        facts,
        unreadable: null,
      };
    } finally {
      source.close();
    }
  } catch (error) {
    if (!(error instanceof FitsError) && !(error instanceof CannotError)) throw error;
    const at = error instanceof FitsError ? error.at.offsetBytes : 0;
    const problem = error instanceof FitsError ? error.problem : error.message;
    const remedy = error instanceof FitsError ? error.remedy : "Check that the file may be read";
    const symptom: Symptom = { code: "unreadable", offsetBytes: at, problem, remedy };
    const note = `byte ${at}: ${problem}. ${remedy}`;
    return { row: { file, kind: "unreadable", note }, facts: null, unreadable: { message: error.message, symptom } };
  }
}

function describedBy(file: string, facts: ExposureFacts, width: number, height: number): Partial<FrameRow> {
  return {
    file,
    kind: facts.kind.value,
    target: facts.target?.value ?? "",
    filter: facts.filter?.value ?? "",
    filterKind: facts.filterKind.value,
    startUtc: facts.startUtc?.value ?? "",
    exposureS: facts.exposureS?.value ?? Number.NaN,
    gainSetting: facts.gainSetting?.value ?? Number.NaN,
    sensorTempC: facts.sensorTempC?.value ?? Number.NaN,
    width,
    height,
    bayer: facts.bayer?.value ?? "",
    pixelScaleArcsec: facts.pixelScaleArcsec?.value ?? Number.NaN,
    note: facts.notes.join("; "),
  };
}

function measuredBy(measured: FrameMeasurement, facts: ExposureFacts): Partial<FrameRow> {
  const { backgroundAdu, noiseAdu, backgroundGradient, starCount, fwhmPx, hfrPx, eccentricity } = measured;
  const { elongationAngleDeg, fieldSpread, saturatedFraction, hotPixels, blockedFraction } = measured;
  return {
    backgroundAdu,
    noiseAdu,
    backgroundGradient,
    starCount,
    fwhmPx,
    fwhmArcsec: fwhmPx * (facts.pixelScaleArcsec?.value ?? Number.NaN),
    hfrPx,
    eccentricity,
    elongationAngleDeg,
    fieldSpread,
    saturatedFraction,
    hotPixels,
    streaks: measured.streaks.count,
    blockedFraction,
  };
}

/** Where target, Sun and Moon stood at mid-exposure; nothing where site, target or time is not known. */
function placedBy(facts: ExposureFacts, { width, height }: FrameMeasurement): Partial<FrameRow> {
  const exposureS = facts.exposureS?.value ?? 0;
  if (!facts.site || !facts.raDeg || !facts.decDeg || !facts.startUtcMs) return {};
  const middleMs = facts.startUtcMs.value + exposureS * 500;
  const place = placeInSky(middleMs, facts.site.value, { raDeg: facts.raDeg.value, decDeg: facts.decDeg.value });
  const { altitudeDeg, azimuthDeg, airmass, sunAltitudeDeg, moonAltitudeDeg, moonSeparationDeg } = place;
  const { moonIllumination, rotationRateDegPerH } = place;
  const rotationBlurPx = cornerBlurPx(rotationRateDegPerH, exposureS, width, height);
  return {
    altitudeDeg,
    azimuthDeg,
    airmass,
    sunAltitudeDeg,
    moonAltitudeDeg,
    moonSeparationDeg,
    moonIllumination,
    rotationRateDegPerH,
    rotationBlurPx,
  };
}

/** What has to be given so that the sky can be computed. */
function missingFor(rows: readonly Row[]): string {
  const lacks = (has: (facts: ExposureFacts) => unknown) => rows.some(({ facts }) => facts !== null && !has(facts));
  const missing: string[] = [];
  if (lacks((facts) => facts.site)) missing.push("the observer's place (--site LAT,LON)");
  if (lacks((facts) => facts.raDeg && facts.decDeg)) missing.push("the target's coordinates (--target RA,DEC)");
  if (lacks((facts) => facts.startUtcMs)) missing.push("the start time (see the notes of those rows)");
  return `the headers do not give ${missing.join(", nor ")}`;
}

const countOf = (n: number, what: string) => `${n} ${what}${n === 1 ? "" : "s"}`;
