import { type CauseCode, causeCodes } from "../terms/causes.js";
import { causeConstants as k } from "./causes-constants.js";
import { sharesOfLight } from "./causes-light.js";
import {
  evidence,
  type Placed,
  type Shares,
  sharesOfElongation,
  sharesOfNoise,
  sharesOfUnevenness,
  sharesOfWidth,
} from "./causes-shares.js";
import type { Signs } from "./causes-signs.js";
import type { CauseEvidence, Losses, RankedCause, SubCause } from "./causes-terms.js";

/** How a loss is shared is told where it costs about a tenth. */
const worthTelling = 0.1;
/** What is less likely is not followed up. */
const leastLikely = 0.002;

/** What is known of a sub beside its signs. */
export interface SubContext {
  /** What the air takes from a usual kept sub of the group. */
  readonly usualAir: number;
  /** The sub shows none of the group's stars and many of its own. */
  readonly elsewhere: boolean;
  /** Its background is uneven, though nothing of it is blocked. */
  readonly uneven: boolean;
}

/**
 * The causes of one sub. What took the light is one thing or another (cloud, dew, focus ...), and so is what drew the
 * stars out (wind or tracking): each of these possibilities is followed up with its own probability. Within one of them
 * the losses are known, and the likeliest cause is the one that explains most.
 */
export function causeOfSub(placed: Placed, { usualAir, elsewhere, uneven }: SubContext): SubCause {
  const sign = placed.all[placed.index];
  const own = elsewhere ? { ...sign.losses, shift: 3, light: 0 } : sign.losses;
  const noise = sharesOfNoise(placed);
  const unevenness = sharesOfUnevenness(placed);
  const probability = new Map<CauseCode, number>(causeCodes.map((code) => [code, k.doubt / causeCodes.length]));
  const courses = coursesOf(placed, own);
  for (const { at, losses, chance } of courses) {
    const drawn = drawnOutBy(sharesOfElongation(at).shares);
    for (const [lightBy, p] of likely(sharesOfLight(at).shares))
      for (const [elongation, q] of drawn) {
        const light = { [lightBy]: 1 };
        const width = sharesOfWidth(at, light, elongation).shares;
        const explained = explainedBy(losses, { light, elongation, noise: noise.shares, width }, usualAir);
        if (uneven) addTo(explained, k.uneven.loss, unevenness.shares);
        const powers = [...explained].map(([cause, loss]) => [cause, loss ** k.sharpness] as const);
        const total = powers.reduce((sum, [, power]) => sum + power, 0);
        const share = ((1 - k.doubt) * chance * p * q) / total;
        for (const [cause, power] of powers) probability.set(cause, probability.get(cause)! + share * power);
      }
  }
  const [first, ...others] = [...probability]
    .map(([cause, probability]): RankedCause => ({ cause, probability }))
    .sort((a, b) => b.probability - a.probability);
  const ranked = [first, ...others.filter(({ probability }) => probability >= 0.01)];
  const { at, losses } = courses[0];
  const light = sharesOfLight(at);
  const elongation = sharesOfElongation(at);
  const width = sharesOfWidth(at, light.shares, elongation.shares);
  return {
    row: sign.row,
    ...first,
    ranked,
    losses,
    evidence: [
      ...(losses.light < worthTelling ? [] : light.evidence),
      ...(losses.noise < worthTelling ? [] : noise.evidence),
      ...(losses.elongation < worthTelling ? [] : elongation.evidence),
      ...(losses.width < worthTelling ? [] : width.evidence),
      ...(uneven ? unevenness.evidence : []),
      ...plainFacts(sign),
    ]
      .filter(({ cause }) => ranked.slice(0, 2).some((r) => r.cause === cause))
      .sort((a, b) => b.strength - a.strength),
  };
}

/** What may have happened, with its probability; `at`: where it is seen. */
interface Course {
  readonly at: Placed;
  readonly losses: Losses;
  readonly chance: number;
}

/** What is seen; of a hidden sub, also that what the nearest seen subs show went on behind what stands in the way. */
function coursesOf(placed: Placed, losses: Losses): readonly [Course, ...Course[]] {
  const { all, index } = placed;
  const seen = all[index].hidden ? nearestSeen(placed) : [];
  if (seen.length === 0) return [{ at: placed, losses, chance: 1 }];
  // Gusts do not last: what is drawn out goes on when two subs show it.
  const [near, steady] = [seen[0], seen.reduce((a, b) => (all[b].drawnOut < all[a].drawnOut ? b : a))];
  const { light, width, noise } = all[near].losses;
  const { elongation } = all[steady].losses;
  const chance = k.hidden.goesOn * 0.5 ** (Math.abs(near - index) / k.hidden.halfSubs);
  const behind = { ...losses, light, width, elongation, noise: Math.max(noise, losses.noise) };
  return [
    { at: placed, losses, chance: 1 - chance },
    { at: { ...placed, index: steady }, losses: behind, chance },
  ];
}

/** The two nearest subs that are not hidden, on the nearer side. */
function nearestSeen({ all, index }: Placed): number[] {
  for (let d = 1; d <= 4 * k.hidden.halfSubs; d++)
    for (const way of [-1, 1]) {
      const i = index + way * d;
      if (all[i]?.hidden !== false) continue;
      return all[i + way]?.hidden === false ? [i, i + way] : [i];
    }
  return [];
}

/** Shares that exclude each other, as probabilities that sum to one. */
function likely(shares: Shares): (readonly [CauseCode, number])[] {
  const some = (Object.entries(shares) as [CauseCode, number][]).filter(([, share]) => share > leastLikely);
  const total = some.reduce((sum, [, share]) => sum + share, 0);
  return some.map(([cause, share]) => [cause, share / total] as const);
}

/** Wind or tracking: one of them did it, and rotation beside it as predicted. */
function drawnOutBy({ tracking = 0, wind = 0, ...rotation }: Shares): (readonly [Shares, number])[] {
  const rest = tracking + wind;
  if (!(rest > 0)) return [[rotation, 1]];
  return likely({ tracking, wind }).map(([cause, p]) => [{ ...rotation, [cause]: rest }, p] as const);
}

interface SharesOfLosses {
  readonly light: Shares;
  readonly noise: Shares;
  readonly width: Shares;
  readonly elongation: Shares;
}

/** The loss that each cause explains. */
function explainedBy(losses: Losses, by: SharesOfLosses, usualAir: number): Map<CauseCode, number> {
  const explained = new Map<CauseCode, number>(causeCodes.map((code) => [code, 0]));
  addTo(explained, losses.light, by.light);
  addTo(explained, losses.noise, by.noise);
  addTo(explained, losses.width, by.width);
  addTo(explained, losses.elongation, by.elongation);
  addTo(explained, Math.max(0, losses.air - usualAir), { "low-altitude": 1 });
  addTo(explained, losses.blocked, { obstruction: 1 });
  addTo(explained, losses.shift, { tracking: 1 });
  addTo(explained, losses.streak, { "satellite-or-aircraft": 1 });
  addTo(explained, k.unexplained, { unknown: 1 });
  return explained;
}

function addTo(explained: Map<CauseCode, number>, loss: number, shares: Shares): void {
  for (const [cause, share] of Object.entries(shares) as [CauseCode, number][])
    explained.set(cause, explained.get(cause)! + loss * share);
}

/** Losses that speak for themselves. */
function plainFacts({ losses, sky, sunAltitudeDeg: sun, moonAltitudeDeg: moon }: Signs): CauseEvidence[] {
  // Astronomical twilight ends at -18 deg; every 3 deg higher the sky is several times as bright.
  const bySun = Number.isNaN(sun) ? 0 : Math.min(3, Math.max(-3, (sun + 18) / 3));
  const byMoon = Number.isNaN(moon) ? 0 : moon > 0 ? 1 : -3;
  return [
    ...evidence("twilight", "sun-above-night", bySun, sun, -18, "sunAltitudeDeg"),
    ...evidence("moonlight", "moon-up", byMoon, moon, 0, "moonAltitudeDeg"),
    ...evidence("cloud", "light-lost", losses.light, Math.exp(-losses.light / 2), 1, "transparency"),
    ...evidence("dew", "light-lost", losses.light, Math.exp(-losses.light / 2), 1, "transparency"),
    ...evidence("twilight", "background-as-predicted", Math.min(losses.noise, sky.twilight), sky.twilight, 0),
    ...evidence("moonlight", "background-as-predicted", Math.min(losses.noise, sky.moon), sky.moon, 0),
    ...evidence("low-altitude", "airmass", losses.air, Math.exp(-losses.air), 1),
    ...evidence("wind", "stars-elongated", losses.elongation, losses.elongation, 0, "eccentricity"),
    ...evidence("tracking", "stars-elongated", losses.elongation, losses.elongation, 0, "eccentricity"),
    ...evidence("obstruction", "part-blocked", losses.blocked, 1 - Math.exp(-losses.blocked), 0, "blockedFraction"),
    ...evidence("tracking", "field-elsewhere", losses.shift > 0.1 ? losses.shift : 0, Math.exp(-losses.shift), 1),
    ...evidence("satellite-or-aircraft", "line-across", losses.streak, 1, 0, "streaks"),
  ];
}
