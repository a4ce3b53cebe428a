import type { SaidCamera, SaidNumber } from "../measure/sub-facts.js";
import type { FrameTable } from "../terms/frame-table.js";
import { type NoiseModel, type NumberSource, noiseModels, type Sourced } from "./noise-model.js";
import type { SaidOfSubs } from "./said-camera.js";

/** What headers or the user said of a group of subs that the frame table has no column for. */
export interface SaidOfGroup extends SaidOfSubs {
  readonly target: string;
  readonly exposureS: number;
  /** Where the telescope pointed; null: not known. */
  readonly place: { readonly raDeg: number; readonly decDeg: number } | null;
}

/** A number of the camera and where it comes from. */
export interface SetupNumber {
  /** NaN: unknown. */
  readonly value: number;
  readonly from: "given" | "header" | "measured" | "unknown";
  /** What it was measured from. */
  readonly by?: NumberSource;
  /** The value is an upper bound. */
  readonly bound?: "at-most";
  /** What the headers say, where a measured number is more than a tenth off. */
  readonly headersSay?: number;
}

/** Camera and target of a group. */
export interface GroupSetup extends Omit<SaidOfGroup, "camera"> {
  readonly camera: {
    readonly electronsPerAdu: SetupNumber;
    readonly readNoiseE: SetupNumber;
    readonly pedestalAdu: SetupNumber;
  };
}

/** The camera of each group as it is known from headers, from the user, and from the subs and calibration frames. */
export function groupSetups(table: FrameTable, said: readonly SaidOfGroup[]): GroupSetup[] {
  const models = noiseModels(table, {}, said);
  return said.map((group) => {
    const model = models.find(
      ({ filter, gainSetting }) => filter === group.filter && Object.is(gainSetting, group.gainSetting),
    );
    const number = (name: keyof SaidCamera) => setupNumber(model, name, group.camera);
    return {
      ...group,
      camera: {
        electronsPerAdu: number("electronsPerAdu"),
        readNoiseE: number("readNoiseE"),
        pedestalAdu: number("pedestalAdu"),
      },
    };
  });
}

function setupNumber(model: NoiseModel | undefined, name: keyof SaidCamera, said: SaidCamera): SetupNumber {
  const found: Sourced | null = model?.[name] ?? null;
  if (found === null) return said[name] ?? { value: Number.NaN, from: "unknown" };
  const { value, from, bound, headersSay } = found;
  if (from === "given" || from === "given-to-triage") return { value, from: "given" };
  if (from === "headers") return { value, from: "header" };
  return {
    value,
    from: "measured",
    by: from,
    ...(bound && { bound }),
    ...(headersSay !== undefined && { headersSay }),
  };
}

/** What of a setup was said, not measured: the frame table still holds what the rest was measured from. */
export function saidOfSetup({ camera, ...group }: GroupSetup): SaidOfGroup {
  return {
    ...group,
    camera: {
      electronsPerAdu: saidNumber(camera.electronsPerAdu),
      readNoiseE: saidNumber(camera.readNoiseE),
      pedestalAdu: saidNumber(camera.pedestalAdu),
    },
  };
}

function saidNumber({ value, from, headersSay }: SetupNumber): SaidNumber | null {
  if (from === "given" || from === "header") return { value, from };
  return headersSay === undefined ? null : { value: headersSay, from: "header" };
}
