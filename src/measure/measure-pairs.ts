import { fromExactJson, toExactJson } from "../numbers/exact-json.js";
import type { FoundFile } from "../read/folders.js";
import type { FrameRow } from "../terms/frame-table.js";
import { calibrationSets, type PairSet } from "./calibration-pairs.js";
import { keyOf } from "./content-key.js";
import type { Sub } from "./measure-subs.js";
import type { PairNoise } from "./pair-noise.js";
import type { Pool } from "./pool.js";
import type { Store } from "./store.js";
import type { PairOutcome } from "./sub-task.js";

/** What came of the bias, dark and flat frames of a night. */
export interface MeasuredPairs {
  /** What to put into the rows of the files that were measured, by number of the file. */
  readonly rows: ReadonlyMap<number, Partial<FrameRow>>;
  /** Sets of which two frames were measured. */
  readonly measured: readonly PairSet[];
  /** Sets with a single frame that could be used. */
  readonly single: readonly PairSet[];
}

/**
 * Measures the first two readable frames of every kind and setting as a pair: level, noise of a pixel and the part at
 * the highest value go into the rows of both. Of the noise of one frame alone, its fixed pattern cannot be told apart.
 */
export async function measurePairs(
  files: readonly FoundFile[],
  subs: readonly Sub[],
  how: { readonly pool: Pool; readonly store: Store },
): Promise<MeasuredPairs> {
  const sets = calibrationSets(subs.map(({ facts }) => facts));
  const rows = new Map<number, Partial<FrameRow>>();
  const measured: (PairSet & { noise: PairNoise })[] = [];
  const single: PairSet[] = [];
  const note = (file: number, text: string) =>
    rows.set(file, { ...rows.get(file), note: [subs[file]!.row.note, text].filter(Boolean).join("; ") });
  const measure = async (set: PairSet): Promise<void> => {
    const pedestalAdu = set.kind === "flat" ? pedestalOf(measured, set) : undefined;
    const left = differing(set.members, subs);
    while (left.length > 1) {
      const [a, b] = left as [number, number];
      const outcome = await pairOf([a, b], files, subs, pedestalAdu, how);
      if ("bad" in outcome) {
        note(outcome.bad === 0 ? a : b, `not measured: ${outcome.why}`);
        left.splice(outcome.bad, 1);
        continue;
      }
      const { noise } = outcome;
      // Frames without any noise, or flats darker than a bias frame, tell nothing.
      if (!(noise.noiseAdu > 0)) {
        for (const file of [a, b]) note(file, "as a pair these frames show no noise");
        return;
      }
      const second = (pedestalAdu ?? 0) + noise.ratio * (noise.levelAdu - (pedestalAdu ?? 0));
      for (const [file, other, levelAdu, noiseAdu] of [
        [a, b, noise.levelAdu, noise.noiseAdu],
        [b, a, second, noise.noiseAdu * Math.sqrt(noise.ratio)],
      ] as const) {
        rows.set(file, { backgroundAdu: levelAdu, noiseAdu, saturatedFraction: noise.atMost });
        note(file, `level and noise are those of a pair with ${files[other]!.file}`);
      }
      measured.push({ ...set, noise });
      return;
    }
    single.push(set);
  };
  // Flats are scaled to one another above the level of a frame without light, so they come last.
  await Promise.all(sets.filter(({ kind }) => kind !== "flat").map(measure));
  await Promise.all(sets.filter(({ kind }) => kind === "flat").map(measure));
  return { rows, measured, single };
}

/** Files without copies of one another, which as a pair would have no noise. */
function differing(members: readonly number[], subs: readonly Sub[]): number[] {
  const seen = new Set<string>();
  return members.filter((file) => {
    const key = subs[file]!.content?.key ?? "";
    return !seen.has(key) && seen.add(key);
  });
}

/** Level of a frame without light: bias frames, darks as long as the flats, the shortest darks; 0 without any. */
function pedestalOf(measured: readonly (PairSet & { readonly noise: PairNoise })[], flat: PairSet): number {
  const alike = measured
    .filter(
      ({ kind, gainSetting, width, height }) =>
        kind !== "flat" && Object.is(gainSetting, flat.gainSetting) && width === flat.width && height === flat.height,
    )
    .sort((a, b) => a.exposureS - b.exposureS);
  const best =
    alike.find(({ kind }) => kind === "bias") ??
    alike.find(({ kind, exposureS }) => kind === "dark-flat" && exposureS === flat.exposureS) ??
    alike[0];
  return best?.noise.levelAdu ?? 0;
}

async function pairOf(
  pair: readonly [number, number],
  files: readonly FoundFile[],
  subs: readonly Sub[],
  pedestalAdu: number | undefined,
  { pool, store }: { readonly pool: Pool; readonly store: Store },
): Promise<PairOutcome> {
  const [a, b] = pair.map((file) => subs[file]!.content!);
  const key = keyOf(a!.key, b!.key, toExactJson(pedestalAdu ?? null));
  const remembered = store.find(a!.day, "c", key);
  if (remembered !== null) return { noise: fromExactJson(remembered) as PairNoise };
  const [first, second] = pair.map((file) => files[file]!);
  try {
    const outcome = await pool.do({
      kind: "pair",
      frames: [first!, second!],
      ...(pedestalAdu !== undefined && { pedestalAdu }),
    });
    if ("noise" in outcome) store.keep(a!.day, "c", key, toExactJson(outcome.noise));
    return outcome;
  } catch (error) {
    // As where memory ran out: without this pair the night goes on.
    return { bad: 0, why: `measuring it failed: ${(error as Error).message}` };
  }
}
