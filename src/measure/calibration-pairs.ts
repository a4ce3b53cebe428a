import type { SubFacts } from "./sub-facts.js";

/** Kinds of frame whose noise is measured in pairs. */
export const pairedKinds = ["bias", "dark-flat", "dark", "flat"] as const;
export type PairedKind = (typeof pairedKinds)[number];

/** Files that may be paired with one another: the same kind and camera setting. */
export interface PairSet {
  readonly kind: PairedKind;
  readonly exposureS: number;
  /** Of flat frames; else empty. */
  readonly filter: string;
  readonly gainSetting: number;
  readonly width: number;
  readonly height: number;
  /** Numbers of the files, in their order. */
  readonly members: readonly number[];
}

/** Dark frames of one pair differ by no more than this in temperature; their dark current then differs by a quarter. */
const sameTempC = 2;

/**
 * Sorts bias, dark and flat frames into sets that are taken alike: kind, image size, colour mosaic, gain setting and
 * exposure, for flats the filter, for darks the temperature. Flats of a filter that are all of different lengths, as
 * those under a changing sky, form one set. Frames that the header says are sums or means of several are left out.
 * @param facts - of each file; null: unreadable
 */
export function calibrationSets(facts: readonly (SubFacts | null)[]): PairSet[] {
  const sets = new Map<string, { file: number; facts: SubFacts }[][]>();
  for (const [file, one] of facts.entries()) {
    if (one === null || !isPaired(one.described.kind) || one.framesSummed > 1) continue;
    const key = JSON.stringify([settingOf(one), one.described.exposureS]);
    const alike = sets.get(key) ?? [];
    sets.set(key, alike);
    const near = one.described.kind !== "dark" ? alike[0] : alike.find(([first]) => isNear(first!.facts, one));
    if (near === undefined) alike.push([{ file, facts: one }]);
    else near.push({ file, facts: one });
  }
  const all = [...sets.values()].flat();
  const alone = new Map<string, { file: number; facts: SubFacts }[]>();
  for (const [first, second] of all)
    if (second === undefined && first!.facts.described.kind === "flat") {
      const setting = settingOf(first!.facts);
      alone.set(setting, [...(alone.get(setting) ?? []), first!]);
    }
  const paired = new Set(all.filter((set) => set.length > 1).map((set) => settingOf(set[0]!.facts)));
  const joined = [...alone].filter(([setting, of]) => of.length > 1 && !paired.has(setting)).map(([, of]) => of);
  const used = new Set(joined.flat());
  return [...all.filter((set) => !used.has(set[0]!)), ...joined].map((set) => {
    const { kind, exposureS, filter, gainSetting, width, height } = set[0]!.facts.described;
    return {
      kind: kind as PairedKind,
      exposureS: exposureS ?? Number.NaN,
      filter: kind === "flat" ? (filter ?? "") : "",
      gainSetting: gainSetting ?? Number.NaN,
      width: width ?? Number.NaN,
      height: height ?? Number.NaN,
      members: set.map(({ file }) => file),
    };
  });
}

const isPaired = (kind: string | undefined): kind is PairedKind =>
  (pairedKinds as readonly string[]).includes(kind ?? "");

function settingOf({ described }: SubFacts): string {
  const { kind, width, height, gainSetting, bayer, filter } = described;
  return JSON.stringify([kind, width, height, gainSetting, bayer, kind === "flat" ? filter : ""]);
}

function isNear(a: SubFacts, b: SubFacts): boolean {
  const [first, second] = [a, b].map(({ described }) => described.sensorTempC ?? Number.NaN);
  return Object.is(first, second) || Math.abs(first! - second!) <= sameTempC;
}
