import { openFile } from "../read/file-bytes.js";
import { firstImage, openPixels } from "../read/hdu.js";
import { CannotError, FitsError } from "../terms/errors.js";
import type { UnreadableSymptom } from "../terms/symptoms.js";
import { unpackBrightStars } from "./bright-stars.js";
import type { FrameBuffers } from "./frame-buffers.js";
import { matchStars, type StarMatch } from "./match.js";
import { type MeasureOptions, measureFrame } from "./measure-frame.js";
import { type PairNoise, pairNoise } from "./pair-noise.js";
import { someRows } from "./some-rows.js";
import { type SubMeasurement, subMeasurement } from "./sub-measurement.js";

/** A file to be measured. */
export interface MeasureTask {
  readonly kind: "measure";
  readonly path: string;
  /** Name for messages. */
  readonly file: string;
  readonly options: Omit<MeasureOptions, "scratch">;
}

/** What matching needs of a sub; small enough to cross threads. */
export interface MatchSide {
  readonly width: number;
  readonly height: number;
  readonly brightStars: Uint8Array;
  /** Width of the stars; absent or NaN: not known. */
  readonly fwhmPx?: number;
}

/** Two subs to be matched. */
export interface MatchTask {
  readonly kind: "match";
  readonly sub: MatchSide;
  readonly reference: MatchSide;
}

/** Two bias, dark or flat frames whose noise is looked for. */
export interface PairTask {
  readonly kind: "pair";
  readonly frames: readonly [PairSide, PairSide];
  /** For flats: the level of a frame without light, ADU. */
  readonly pedestalAdu?: number;
}

/** A file of a pair. */
export interface PairSide {
  readonly path: string;
  /** Name for messages. */
  readonly file: string;
}

/** A pair's noise, or which of the two cannot be used, and why. */
export type PairOutcome = { readonly noise: PairNoise } | { readonly bad: 0 | 1; readonly why: string };

/** Why a file became an `unreadable` row. */
export interface Unreadable {
  readonly message: string;
  readonly symptom: UnreadableSymptom;
}

export type MeasureOutcome = { readonly measured: SubMeasurement } | { readonly unreadable: Unreadable };
export type Task = MeasureTask | MatchTask | PairTask;
export type OutcomeOf<T extends Task> = T extends MeasureTask
  ? MeasureOutcome
  : T extends PairTask
    ? PairOutcome
    : StarMatch | null;

/** Memory that is used again from frame to frame. */
export interface Scratch {
  buffers?: FrameBuffers;
}

/**
 * Does one task: the same in a thread and without.
 * @throws whatever is not explained by a damaged file
 */
export function perform(task: Task, scratch: Scratch): MeasureOutcome | PairOutcome | StarMatch | null {
  if (task.kind === "match") return matchStars(matchable(task.sub), matchable(task.reference));
  if (task.kind === "pair") return measurePair(task);
  try {
    return { measured: measureFile(task, scratch) };
  } catch (error) {
    return { unreadable: explained(error) };
  }
}

function measureFile({ path, file, options }: MeasureTask, scratch: Scratch): SubMeasurement {
  const source = openFile(path, file);
  try {
    const image = firstImage(source);
    const reader = openPixels(image.source, image.hdu);
    const { buffers } = scratch;
    // Should measuring fail, its half-used buffers are not used again.
    delete scratch.buffers;
    const measured = measureFrame(reader, { ...options, ...(buffers && { scratch: buffers }) });
    scratch.buffers = measured.scratch;
    return subMeasurement(measured);
  } finally {
    source.close();
  }
}

/** Pixels of a pair that are looked at, at most: the noise is known to 0.1 % from half of them. */
const pairPixels = 1 << 20;

function measurePair({ frames, pedestalAdu }: PairTask): PairOutcome {
  const pixels: Float32Array[] = [];
  for (const [i, { path, file }] of frames.entries()) {
    const side = i as 0 | 1;
    try {
      const source = openFile(path, file);
      try {
        const image = firstImage(source);
        const reader = openPixels(image.source, image.hdu);
        // A camera writes whole numbers; means of several frames have less noise than one of them.
        if (reader.type.startsWith("float"))
          return { bad: side, why: "its pixels are not whole numbers, so it is not as the camera wrote it" };
        if (reader.width * reader.height < 100) return { bad: side, why: "it has fewer than 100 pixels" };
        pixels.push(someRows(reader, pairPixels));
      } finally {
        source.close();
      }
    } catch (error) {
      return { bad: side, why: explained(error).symptom.problem };
    }
  }
  return { noise: pairNoise(pixels[0]!, pixels[1]!, pedestalAdu) };
}

const matchable = ({ brightStars, ...side }: MatchSide) => ({ ...side, stars: unpackBrightStars(brightStars) });

/**
 * A damaged file as a finding.
 * @throws the error itself when it does not explain a file
 */
export function explained(error: unknown): Unreadable {
  if (error instanceof FitsError) return unreadable(error.message, error.at.offsetBytes, error.problem, error.remedy);
  if (error instanceof CannotError)
    return unreadable(error.message, 0, error.message, "Check that the file may be read");
  throw error;
}

/** A file whose measuring ended in something that nobody foresaw, such as memory that ran out. */
export function failed(file: string, reason: string): Unreadable {
  const problem = `measuring it failed: ${reason}`;
  const remedy = "If memory ran out, try --jobs 1; else leave the file out and report the fault";
  return unreadable(`Cannot measure ${file}: ${reason}. ${remedy}`, 0, problem, remedy);
}

const unreadable = (message: string, offsetBytes: number, problem: string, remedy: string): Unreadable => ({
  message,
  symptom: { code: "unreadable", offsetBytes, problem, remedy },
});
