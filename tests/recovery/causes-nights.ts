// Nights for the tests of causes: the house's scenarios with one event each, and nights on which several things go wrong.
import { readFileSync } from "node:fs";
import { type Random, randomStream } from "../../src/numbers/random.js";
import { parseScenario, type Scenario } from "../../src/simulate/scenario.js";

/** Scenarios in which one thing goes wrong; their true causes are known. */
export const singleEvent = [
  "aircraft",
  "altitude-and-temperature-confounded",
  "altitude-and-temperature-separable",
  "bump",
  "cloud",
  "damaged-files",
  "dawn",
  "defocus-far",
  "dew",
  "dusk",
  "fan-off",
  "field-rotation",
  "focus-drift",
  "haze",
  "moonrise",
  "more-than-half-bad",
  "obstruction-roof",
  "obstruction-tree",
  "one-shot-colour",
  "pointing-jump",
  "satellites",
  "tracking-drift",
  "two-filters",
  "wind",
] as const;

type Made = Record<string, unknown>;
const makers: readonly ((random: Random, fromMin: number, toMin: number) => Made)[] = [
  (r, fromMin, toMin) => ({
    kind: "cloud",
    fromMin,
    toMin,
    riseMin: r.between(5, 20),
    fallMin: r.between(5, 20),
    dimmingMag: r.between(0.8, 2),
    patchiness: r.between(0.3, 0.8),
  }),
  (r, fromMin, toMin) => ({
    kind: "haze",
    fromMin,
    toMin,
    riseMin: r.between(10, 25),
    fallMin: r.between(5, 25),
    dimmingMag: r.between(0.4, 1),
  }),
  (r, fromMin, toMin) => ({
    kind: "dew",
    fromMin,
    toMin,
    riseMin: (toMin - fromMin) * r.between(0.8, 1),
    dimmingMag: r.between(0.6, 1.2),
    widening: r.between(1.25, 1.6),
  }),
  (r, fromMin, toMin) => ({
    kind: "focus-drift",
    fromMin,
    toMin,
    blurPxPerHour: r.between(3, 6),
  }),
  (r, fromMin, toMin) => ({
    kind: "wind",
    fromMin,
    toMin,
    shakePx: r.between(1.8, 3),
    share: r.between(0.4, 0.8),
    angleDeg: r.between(0, 180),
  }),
  (r, fromMin, toMin) => ({
    kind: "tracking-drift",
    fromMin,
    toMin,
    pxPerMin: r.between(5, 9),
    angleDeg: r.between(0, 360),
  }),
  (r, fromMin, toMin) => ({
    kind: "obstruction",
    fromMin,
    toMin,
    riseMin: (toMin - fromMin) * 0.6,
    coverage: r.between(0.4, 0.9),
    side: ["top", "bottom", "left", "right"][Math.floor(r.between(0, 3.999))],
    ragged: r.between(0, 0.8),
  }),
  (r, fromMin, toMin) => ({
    kind: "fan-off",
    fromMin,
    toMin,
    warmerC: r.between(18, 28),
    timeConstantMin: r.between(10, 30),
  }),
];

/**
 * A night on which two to four things go wrong, at times of their own that may overlap, and perhaps twilight or the Moon
 * as well. Half of the nights are of short subs with long pauses, half of longer subs one after the other.
 */
export function mixedNight(seed: number): Scenario {
  const random = randomStream(seed, "mixed night");
  const order = makers.map((make) => ({ make, key: random.uniform() })).sort((a, b) => a.key - b.key);
  const start = starts[Math.floor(random.uniform() * 2 * starts.length)] ?? starts[0]!;
  const dense = random.uniform() < 0.5;
  const many = 2 + Math.floor(random.uniform() * 2.999);
  const lengthMin = 190;
  const events = order.slice(0, many).map(({ make }) => {
    const from = random.between(0.1, 0.8) * lengthMin;
    return make(random, from, from + random.between(0.15, 0.45) * lengthMin);
  });
  return nightWith(seed, { startUtc: start, events, ...(dense && { exposureS: 120, readOutS: 8 }) });
}

/** Dark, dusk, dawn, and a rising Moon; dark is taken for half of the nights. */
const starts = ["2025-10-20T19:30:00Z", "2025-10-20T17:05:00Z", "2025-10-21T02:10:00Z", "2025-10-11T17:50:00Z"];

/** A night on which one thing goes wrong, with a course and strength of its own. */
export function singleNight(seed: number, event: number): Scenario {
  const random = randomStream(seed, "single night", event);
  const from = random.between(50, 80);
  const events = [makers[event % makers.length]!(random, from, from + random.between(50, 100))];
  return nightWith(seed, { startUtc: starts[0]!, events });
}

function nightWith(seed: number, night: Record<string, unknown>): Scenario {
  const url = new URL("../scenarios/null-night.json", import.meta.url);
  const scenario = JSON.parse(readFileSync(url, "utf8")) as { nights: [{ blocks: [Record<string, unknown>] }] };
  const { exposureS = 30, ...rest } = night;
  Object.assign(scenario.nights[0], rest);
  scenario.nights[0].blocks[0].exposureS = exposureS;
  // Longer subs follow one another; as many as fill the same hours.
  if (exposureS !== 30) scenario.nights[0].blocks[0].frames = 80;
  return parseScenario(JSON.stringify({ ...scenario, seed }), `night ${seed}`);
}
