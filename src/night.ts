import { basename, resolve } from "node:path";
import { explainNight } from "./explain/explain-night.js";
import { type Frontier, frontier } from "./grade/frontier.js";
import { gradeNight } from "./grade/grade-night.js";
import { type GroupSummary, summariseGroup } from "./grade/group-summary.js";
import { groupsOf } from "./grade/groups.js";
import { defaultLimits, type Limits } from "./grade/limits.js";
import { starlightOf } from "./grade/starlight.js";
import { brightStarCount } from "./measure/bright-stars.js";
import type { PairSet } from "./measure/calibration-pairs.js";
import { type MeasuredPairs, measurePairs } from "./measure/measure-pairs.js";
import { measureSubs, type Sub } from "./measure/measure-subs.js";
import { openPool } from "./measure/pool.js";
import { relateGroup } from "./measure/relate-group.js";
import { noStore, openStore } from "./measure/store.js";
import type { SaidCamera, SubFacts } from "./measure/sub-facts.js";
import { groupSetups, type SaidOfGroup } from "./plan/group-setup.js";
import type { Given } from "./read/exposure-facts.js";
import { findFiles } from "./read/folders.js";
import type { NightResult } from "./show/night-result.js";
import { skyColumn } from "./sky/sky-column.js";
import { CannotError } from "./terms/errors.js";
import { type FrameTable, fromRows, withColumns } from "./terms/frame-table.js";
import type { Symptom } from "./terms/symptoms.js";

/** What a night needs besides its folders. */
export interface NightRequest {
  /** Version of nightyield, for the record and the store; left out: not recorded. */
  readonly version?: string;
  /** What the headers do not say, or say wrongly. */
  readonly given?: Given;
  readonly limits?: Limits;
  /** Frames measured at the same time, each in a thread of its own; 1 (also when left out): one after the other, here. */
  readonly jobs?: number;
  /** Folder in which measurements are remembered, so that a second run measures only what is new. Left out: nowhere. */
  readonly store?: string;
  /** Called after each file, remembered ones too. */
  readonly onProgress?: (done: number, total: number, file: string) => void;
  /** Called while subs are matched with the reference of their group. */
  readonly onMatching?: (done: number, total: number) => void;
  /** Called with what the user should know of this run, which says nothing about the night. */
  readonly onNote?: (note: string) => void;
}

/** A measured night: one row a file, not graded yet. */
export interface MeasuredNight {
  readonly table: FrameTable;
  /**
   * Starlight of each row relative to the others of its group, extinction included, and the standard error that is the
   * row's own; NaN: not matched. Grading takes them.
   */
  readonly starlight: Float64Array;
  readonly starlightError: Float64Array;
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
  readonly site: { readonly latitudeDeg: number; readonly longitudeDeg: number; readonly heightM?: number } | null;
  /** What headers or the user said of camera and target, by group. */
  readonly said: readonly SaidOfGroup[];
}

/** A graded night with what the report needs. */
export type TriagedNight = NightResult & Pick<MeasuredNight, "paths" | "attention">;

/**
 * Reads, measures and places every file below the folders, and matches the subs of each group. A file that cannot be
 * read becomes a row of kind `unreadable`; the night goes on. The result does not depend on `jobs` or the store.
 * @throws CallError when a folder does not exist, CannotError when there is no FITS file in it
 * @example
 * ```ts
 * import { gradeNight, measureNight } from "nightyield";
 * const night = await measureNight(["subs"]);
 * const { table } = gradeNight(night.table, night);
 * console.log(table.verdict);
 * ```
 */
export async function measureNight(folders: readonly string[], request: NightRequest = {}): Promise<MeasuredNight> {
  const { files, otherFiles } = findFiles(folders);
  if (files.length === 0)
    throw new CannotError(
      `There are no FITS files (.fits, .fit, .fts, .fz, also .gz) below ${folders.join(", ")}. Give the folder that holds the night's subs`,
    );
  const store = request.store === undefined ? noStore : openStore(request.store);
  const pool = openPool(request.jobs ?? 1);
  let done = 0;
  try {
    const subs = await measureSubs(files, {
      pool,
      store,
      given: request.given ?? [],
      version: request.version ?? "",
      onDone: (file) => request.onProgress?.(++done, files.length, file),
    });
    const pairs = await measurePairs(files, subs, { pool, store });
    const measured = fromRows(subs.map(({ row }, file) => ({ ...row, ...pairs.rows.get(file) })));
    const related = await relatedColumns(
      measured,
      subs,
      (group, onPair) => relateGroup(group, { pool, store, onPair }),
      request,
    );
    const { skyMagArcsec2 } = skyColumn(related.table);
    return {
      ...related,
      table: withColumns(related.table, { skyMagArcsec2 }),
      ...toldOf(subs, otherFiles, pairs),
      folders: folders.map((folder) => basename(resolve(folder))),
      paths: files.map(({ path }) => path),
      given: subs.map(({ unreadable }) => (unreadable === null ? [] : [unreadable.symptom])),
      site: subs.find(({ facts }) => facts?.site)?.facts?.site ?? null,
      said: groupsOf(measured).map(({ rows, ...group }) => ({
        ...group,
        ...saidOf(rows.map((row) => subs[row]!.facts)),
      })),
    };
  } finally {
    await pool.close();
    store.close();
    for (const problem of store.problems()) request.onNote?.(problem);
  }
}

/**
 * The main job: measures a night, grades it and explains it.
 * @throws CallError, CannotError as {@link measureNight}
 * @example
 * ```ts
 * import { nightSummary, triageNight } from "nightyield";
 * const night = await triageNight(["subs"], { jobs: 2 });
 * console.log(nightSummary(night).join("\n"));
 * ```
 */
export async function triageNight(folders: readonly string[], request: NightRequest = {}): Promise<TriagedNight> {
  const { said, ...measured } = await measureNight(folders, request);
  const graded = gradeNight(measured.table, {
    given: measured.given,
    starlight: measured.starlight,
    starlightError: measured.starlightError,
    ...(request.limits && { limits: request.limits }),
  });
  const { symptomsOfRow } = graded;
  const { table, explanation } = explainNight(graded.table, symptomsOfRow);
  return {
    ...measured,
    table,
    symptomsOfRow,
    ...outcomeOf(table, request.limits),
    explanation,
    limits: request.limits ?? defaultLimits,
    setups: groupSetups(table, said),
    version: request.version ?? "",
  };
}

/**
 * What a graded table comes to, group by group; to be worked out anew when the user's decisions changed its verdicts.
 * @param limits - those it was graded by
 */
export function outcomeOf(
  table: FrameTable,
  limits: Limits = defaultLimits,
): { readonly groups: readonly GroupSummary[]; readonly frontiers: readonly (Frontier | null)[] } {
  const groups = groupsOf(table);
  return {
    groups: groups.map((group) => summariseGroup(table, group)),
    frontiers: groups.map((group) => frontier(table, group, { limits })),
  };
}

type Relate = (group: Parameters<typeof relateGroup>[0], onPair: () => void) => ReturnType<typeof relateGroup>;

/** Shift, rotation and starlight of each sub against its group, and notes where it could not be matched. */
async function relatedColumns(
  table: FrameTable,
  subs: readonly Sub[],
  relate: Relate,
  { onMatching, limits = defaultLimits }: NightRequest,
): Promise<Pick<MeasuredNight, "table" | "starlight" | "starlightError">> {
  const empty = () => new Float64Array(table.rows).fill(Number.NaN);
  const [shiftXPx, shiftYPx, rotationDeg] = [empty(), empty(), empty()];
  const [starlight, starlightError, transparency, transparencyError] = [empty(), empty(), empty(), empty()];
  const note = [...table.note];
  const groups = groupsOf(table);
  const rowsOf = groups.map(({ rows }) => rows.filter((row) => subs[row].matchable !== null));
  const pairs = rowsOf.reduce((sum, rows) => sum + Math.max(0, rows.length - 1), 0);
  let done = 0;
  // Some pairs are matched twice, by way of another sub; they are not counted.
  const onPair = () => onMatching?.(Math.min(pairs, ++done), pairs);
  for (const [g, rows] of rowsOf.entries()) {
    const { reference, relations } = await relate(
      rows.map((row) => ({
        ...subs[row].matchable!,
        starCount: table.starCount[row],
        fwhmPx: table.fwhmPx[row],
        airmass: table.airmass[row],
        streaks: table.streaks[row],
        blockedFraction: table.blockedFraction[row],
      })),
      onPair,
    );
    for (const [i, row] of rows.entries()) {
      const relation = relations[i];
      if (relation === null) {
        const bright = brightStarCount(subs[row].matchable!.brightStars);
        const why =
          reference < 0
            ? "no sub of its group shows five stars that could be matched"
            : `fewer than 5 of its ${bright} brighter stars are among those of ${table.file[rows[reference]]}, to which its group is compared`;
        note[row] = [note[row], `shift and transparency not measured: ${why}`].filter(Boolean).join("; ");
        continue;
      }
      shiftXPx[row] = relation.shiftXPx;
      shiftYPx[row] = relation.shiftYPx;
      rotationDeg[row] = relation.rotationDeg;
      starlight[row] = relation.starlight;
      starlightError[row] = relation.starlightError;
    }
    const light = starlightOf(table, groups[g], limits, { starlight, starlightError });
    for (const [i, row] of groups[g].rows.entries()) {
      transparency[row] = light.transparency[i];
      transparencyError[row] = light.transparencyError[i];
    }
  }
  return {
    table: withColumns(table, { shiftXPx, shiftYPx, rotationDeg, transparency, transparencyError, note }),
    starlight,
    starlightError,
  };
}

/** Camera and place of a group's subs, each number from the first sub that has it. */
function saidOf(facts: readonly (SubFacts | null)[]): Pick<SaidOfGroup, "camera" | "place"> {
  const first = <T>(of: (one: SubFacts) => T | null): T | null => {
    for (const one of facts) {
      const value = one === null ? null : of(one);
      if (value !== null) return value;
    }
    return null;
  };
  const number = (name: keyof SaidCamera) => first(({ camera }) => camera[name]);
  return {
    camera: {
      electronsPerAdu: number("electronsPerAdu"),
      readNoiseE: number("readNoiseE"),
      pedestalAdu: number("pedestalAdu"),
    },
    place: first(({ raDeg, decDeg }) => (raDeg === null || decDeg === null ? null : { raDeg, decDeg })),
  };
}

/** What the user should know of the files, and what needs attention. */
function toldOf(
  subs: readonly Sub[],
  otherFiles: number,
  { measured, single }: MeasuredPairs,
): Pick<MeasuredNight, "notes" | "attention"> {
  const notes: string[] = [];
  if (otherFiles > 0) notes.push(`${countOf(otherFiles, "file")} that by name are not FITS were left alone`);
  const calibration = subs.filter(({ row }) => ["dark", "flat", "bias", "dark-flat"].includes(row.kind ?? "")).length;
  if (calibration > 0)
    notes.push(`${countOf(calibration, "dark, flat or bias frame")} recognised and left out of grading`);
  if (measured.length > 0)
    notes.push(
      `two each of these were measured as pairs, for read noise and e-/ADU: ${measured.map(setWords).join(", ")}`,
    );
  if (single.length > 0)
    notes.push(
      `of these there is one only, and noise is measured from two taken alike: ${single.map(setWords).join(", ")}`,
    );
  const attention = subs.flatMap(({ unreadable }) => (unreadable === null ? [] : [unreadable.message]));
  const lights = subs.filter(({ row }) => row.kind === "light");
  const unplaced = lights.filter(({ row }) => Number.isNaN(row.altitudeDeg ?? Number.NaN));
  if (unplaced.length > 0)
    attention.push(
      `${unplaced.length} of ${countOf(lights.length, "light frame")} could not be placed in the sky: ${missingFor(unplaced)}`,
    );
  return { notes, attention };
}

/** What has to be given so that the sky can be computed. */
function missingFor(subs: readonly Sub[]): string {
  const lacks = (has: (facts: SubFacts) => boolean) => subs.some(({ facts }) => facts !== null && !has(facts));
  const missing: string[] = [];
  if (lacks(({ site }) => site !== null)) missing.push("the observer's place (--site LAT,LON)");
  if (lacks(({ raDeg, decDeg }) => raDeg !== null && decDeg !== null))
    missing.push("the target's coordinates (--target RA,DEC)");
  if (lacks(({ startUtcMs }) => startUtcMs !== null)) missing.push("the start time (see the notes of those rows)");
  return `the headers do not give ${missing.join(", nor ")}`;
}

/** A set as `flat in L of 2 s`. */
const setWords = ({ kind, filter, exposureS }: PairSet) =>
  `${kind}${filter === "" ? "" : ` in ${filter}`}${kind === "bias" || Number.isNaN(exposureS) ? "" : ` of ${Number(exposureS.toPrecision(3))} s`}`;
const countOf = (n: number, what: string) => `${n} ${what}${n === 1 ? "" : "s"}`;
