import { steadyExp, steadyLog } from "./steady-math.js";

/** A stream of random numbers that is the same on every platform. */
export interface Random {
  /** 32 random bits as an unsigned integer. */
  bits(): number;
  /** Uniform in (0, 1), 32 bits, never an end. */
  uniform(): number;
  /** Uniform between two numbers. */
  between(low: number, high: number): number;
  /** Standard normal. */
  normal(): number;
  /** A Poisson number: a whole number of events when `mean` are expected. */
  poisson(mean: number): number;
}

/**
 * A stream by seed and name: streams of different names are independent, so that adding a use of one leaves the others
 * as they were.
 *
 * Generator: xoshiro128** 1.1 (Blackman & Vigna 2018, "Scrambled linear pseudorandom number generators"; public domain),
 * seeded through a 32-bit mixing of seed and name (FNV-1a, then the finaliser of MurmurHash3).
 * @param seed - any integer; only its low 32 bits count
 */
export function randomStream(seed: number, ...names: readonly (string | number)[]): Random {
  const text = names.join("\u0001");
  let hash = 0x811c9dc5 ^ (seed | 0);
  for (let i = 0; i < text.length; i++) hash = Math.imul(hash ^ text.charCodeAt(i), 0x01000193);
  const state = [0, 0, 0, 0].map((_, i) => mixed((hash + Math.imul(i + 1, 0x9e3779b9)) | 0)) as State;
  // All zero is the one state that xoshiro cannot leave.
  if (state.every((word) => word === 0)) state[0] = 1;
  return randomFromState(state);
}

type State = [number, number, number, number];

/** The generator from its bare state, for comparison with the reference implementation. Not all four may be zero. */
export function randomFromState([a, b, c, d]: readonly [number, number, number, number]): Random {
  let [s0, s1, s2, s3] = [a | 0, b | 0, c | 0, d | 0];
  const bits = () => {
    const five = Math.imul(s1, 5);
    const result = Math.imul((five << 7) | (five >>> 25), 9);
    const t = s1 << 9;
    s2 ^= s0;
    s3 ^= s1;
    s1 ^= s2;
    s0 ^= s3;
    s2 ^= t;
    s3 = (s3 << 11) | (s3 >>> 21);
    return result >>> 0;
  };
  const uniform = () => (bits() + 0.5) * 2.3283064365386963e-10;
  const normal = () => normalFrom(bits, uniform);
  return {
    bits,
    uniform,
    between: (low, high) => low + (high - low) * uniform(),
    normal,
    poisson: (mean) => poissonFrom(mean, uniform, normal),
  };
}

function mixed(word: number): number {
  let h = word;
  h = Math.imul(h ^ (h >>> 16), 0x85ebca6b);
  h = Math.imul(h ^ (h >>> 13), 0xc2b2ae35);
  return h ^ (h >>> 16);
}

// Ziggurat for the normal distribution (Marsaglia & Tsang 2000, J. Stat. Softw. 5(8); 128 layers of equal area, with
// independent bits for layer and abscissa as Doornik 2005 asks for). Tables from the two constants of the paper.
const layers = 128;
const tailFrom = 3.442619855899;
const layerArea = 9.91256303526217e-3;
const edges = new Float64Array(layers + 1);
const heights = new Float64Array(layers + 1);
edges[0] = layerArea / steadyExp(-0.5 * tailFrom * tailFrom);
edges[1] = tailFrom;
for (let i = 2; i < layers; i++) {
  const x = edges[i - 1]!;
  edges[i] = Math.sqrt(-2 * steadyLog(layerArea / x + steadyExp(-0.5 * x * x)));
}
for (let i = 0; i <= layers; i++) heights[i] = steadyExp(-0.5 * edges[i]! * edges[i]!);

function normalFrom(bits: () => number, uniform: () => number): number {
  for (;;) {
    const layer = bits() & (layers - 1);
    const u = 2 * uniform() - 1;
    const x = u * edges[layer]!;
    if (Math.abs(x) < edges[layer + 1]!) return x;
    if (layer === 0) {
      for (;;) {
        const beyond = -steadyLog(uniform()) / tailFrom;
        const y = -steadyLog(uniform());
        if (2 * y > beyond * beyond) return u < 0 ? -tailFrom - beyond : tailFrom + beyond;
      }
    }
    const top = heights[layer + 1]!;
    const bottom = heights[layer]!;
    if (bottom + uniform() * (top - bottom) < steadyExp(-0.5 * x * x)) return x;
  }
}

/** Counts exactly below 30; above, a normal number with the skewness put right (Cornish & Fisher 1938, first term). */
function poissonFrom(mean: number, uniform: () => number, normal: () => number): number {
  if (!(mean > 0)) return 0;
  if (mean < 30) {
    let count = 0;
    for (let term = steadyExp(-mean), left = uniform() - term; left > 0 && count < 200; left -= term)
      term *= mean / ++count;
    return count;
  }
  const z = normal();
  return Math.max(0, Math.round(mean + Math.sqrt(mean) * z + (z * z - 1) / 6));
}
