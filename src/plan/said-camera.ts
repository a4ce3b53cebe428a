import type { SaidCamera } from "../measure/sub-facts.js";

/** What was said of the camera for the subs of one filter and gain setting. */
export interface SaidOfSubs {
  readonly filter: string;
  readonly gainSetting: number;
  readonly camera: SaidCamera;
}

/** Numbers that differ by more than this are not one. */
const same = 0.01;

/** What is said of a filter and gain setting; null where nothing is, or not the same everywhere. */
export function saidFor(all: readonly SaidOfSubs[], filter: string, gainSetting: number): SaidCamera {
  const of = all.filter((one) => one.filter === filter && Object.is(one.gainSetting, gainSetting));
  const pick = (name: keyof SaidCamera) => {
    const values = of.flatMap(({ camera }) => camera[name] ?? []);
    // What the user gave counts more than any header.
    const best = values.find(({ from }) => from === "given") ?? values[0] ?? null;
    const differs = values.some(({ from, value }) => from === best!.from && Math.abs(value / best!.value - 1) > same);
    return differs ? null : best;
  };
  return {
    electronsPerAdu: pick("electronsPerAdu"),
    readNoiseE: pick("readNoiseE"),
    pedestalAdu: pick("pedestalAdu"),
  };
}
