import { median } from "../numbers/quantiles.js";
import type { CauseCode } from "../terms/causes.js";
import { causeConstants as k } from "./causes-constants.js";
import type { Signs } from "./causes-signs.js";
import type { CauseEvidence } from "./causes-terms.js";

/** A sub among those of its group, in time. */
export interface Placed {
  readonly all: readonly Signs[];
  readonly index: number;
  readonly exposureS: number;
  readonly fwhmPx: number;
}
/** How a loss is shared among causes; sums to one. */
export type Shares = Partial<Record<CauseCode, number>>;
export interface Shared {
  readonly shares: Shares;
  readonly evidence: readonly CauseEvidence[];
}

const logistic = (logOdds: number) => 1 / (1 + Math.exp(-logOdds));
/** Between -most and most. */
export const clamp = (value: number, most: number) => Math.min(most, Math.max(-most, value));

/** A piece of evidence from a change of the log-odds: its sign says which way it speaks. */
export function evidence(
  cause: CauseCode,
  code: CauseEvidence["code"],
  logOdds: number,
  value: number,
  usual = Number.NaN,
  column: CauseEvidence["column"] = null,
): CauseEvidence[] {
  if (!(Math.abs(logOdds) >= 0.05)) return [];
  return [{ code, cause, speaks: logOdds > 0 ? "for" : "against", value, usual, strength: Math.abs(logOdds), column }];
}

/** Displacement from the sub before to the one after, in usual steps. */
export const stepsMoved = ({ stepXPx, stepYPx, usualStepPx }: Signs) =>
  Math.hypot(stepXPx, stepYPx) / Math.max(1, usualStepPx);

/** Noise: parts of the sky as the model predicts them, a warm sensor, light thrown back by cloud. */
export function sharesOfNoise(placed: Placed): Shared {
  const { sky, warmerC, hotRatio, losses } = placed.all[placed.index];
  const warmth = warmerC > 1.5 ? k.noise.coolDark * (2 ** (Math.min(60, warmerC) / k.noise.doublingC) - 1) : 0;
  // A warm sensor shows hot pixels; bright sky hides them.
  const hot = warmth > 0 && hotRatio >= 0 ? Math.min(3, Math.max(0.3, hotRatio)) : 1;
  const dimmed =
    losses.light > k.dim.from && losses.blocked < 0.03 ? k.noise.cloudGlow * Math.min(1.5, losses.light) : 0;
  const parts = {
    twilight: sky.twilight,
    moonlight: sky.moon,
    "low-altitude": sky.air,
    "warm-sensor": warmth * hot,
    cloud: dimmed,
    unknown: k.noise.unknown,
  };
  const total = Object.values(parts).reduce((a, b) => a + b, 0);
  const shares = Object.fromEntries(Object.entries(parts).map(([cause, part]) => [cause, part / total]));
  return {
    shares,
    evidence: [
      ...evidence("warm-sensor", "sensor-warmer", warmth > 0 ? Math.log1p(warmth / k.noise.unknown) : 0, warmerC, 0),
      ...evidence("warm-sensor", "more-hot-pixels", warmth > 0 && hotRatio > 0 ? Math.log(hot) : 0, hotRatio, 1),
    ],
  };
}

/** An uneven background: something at the edge when a neighbour is blocked, else what makes the sky bright. */
export function sharesOfUnevenness(placed: Placed): Shared {
  const { all, index } = placed;
  const near = Math.max(...[-1, 0, 1].map((d) => all[index + d]?.losses.blocked ?? 0));
  const sky = sharesOfNoise(placed).shares;
  const obstruction = near > 0.03 ? k.uneven.obstruction : 0.1;
  const shares: Shares = { obstruction };
  for (const [cause, share] of Object.entries(sky) as [CauseCode, number][])
    shares[cause] = (shares[cause] ?? 0) + (1 - obstruction) * share;
  return { shares, evidence: near > 0.03 ? evidence("obstruction", "part-blocked", 1, 1 - Math.exp(-near), 0) : [] };
}

/** Round widening: focus, dew, field rotation (its mean over the field is round), or seeing, which stays unexplained. */
export function sharesOfWidth(placed: Placed, light: Shares, elongation: Shares): Shared {
  const { all, index } = placed;
  const own = all[index];
  const neighbours = [all[index - 1], all[index + 1]].filter((s) => s !== undefined);
  const near = neighbours.map((s) => s.losses.width);
  const jump = near.length > 0 ? Math.min(...near.map((w) => Math.abs(w - own.losses.width))) : 0;
  const byJump = k.width.perJump * Math.min(2, jump);
  const byLoss = k.width.perLoss * Math.min(1, own.losses.width);
  const focus = logistic(k.width.focusBase + byLoss + byJump);
  // Cloud does not widen stars: where there is width, dew stands against focus.
  const [dewLight, focusLight] = [light.dew ?? 0, light.focus ?? 0];
  const dew = own.losses.light > k.dim.from ? (dewLight * dewLight) / Math.max(1e-9, dewLight + focusLight) : 0;
  const drawn = Math.min(0.9, Math.max(0, own.drawnOut - k.elongation.from) * 3);
  const turned = rotationShare(own, placed.fwhmPx);
  const shares: Record<string, number> = {};
  const add = (cause: string, share: number) => {
    shares[cause] = (shares[cause] ?? 0) + share;
  };
  add("field-rotation", turned);
  add("dew", (1 - turned) * dew);
  const rest = (1 - turned) * (1 - dew);
  for (const [cause, share] of Object.entries(elongation)) add(cause, rest * drawn * share);
  add("focus", rest * (1 - drawn) * focus);
  add("unknown", rest * (1 - drawn) * (1 - focus));
  return {
    shares,
    evidence: [
      ...evidence("focus", "stars-wider", byLoss, Math.exp(own.losses.width / 2), 1),
      ...evidence(
        "focus",
        "width-follows-time",
        jump < 0.3 && own.losses.width > 0.3 ? 1 : byJump,
        Math.exp(jump / 2),
        1,
      ),
      ...evidence(
        "focus",
        "stars-round",
        own.losses.width > 0.3 ? (drawn > 0 ? -3 * drawn : 1) : 0,
        own.drawnOut,
        k.elongation.from,
      ),
    ],
  };
}

/** Elongation: rotation as predicted, tracking where the field moves along it, or wind. */
export function sharesOfElongation(placed: Placed): Shared {
  const own = placed.all[placed.index];
  // Rotation comes and goes slowly: what the neighbours do not show is not rotation.
  const near = [-1, 1].flatMap((d) => placed.all[placed.index + d]?.drawnOut ?? []);
  const shared =
    near.length === 0 ? 1 : Math.min(1, Math.max(0, 1.5 * Math.max(...near)) / Math.max(0.01, own.drawnOut));
  const turned = rotationShare(own, placed.fwhmPx) * shared;
  const trail = trailShare(placed);
  const byTrail = Number.isNaN(trail)
    ? 0
    : clamp(k.elongation.perTrail * Math.log(Math.max(0.01, trail) / k.elongation.fromTrail), k.elongation.most);
  const byKnock = stepsMoved(own) > k.elongation.knock.steps && trail < 0.5 ? k.elongation.knock.logOdds : 0;
  // Trails too long to be matched: a drift draws all alike, gusts differ.
  const alike = Number.isNaN(trail) ? alikeNearby(placed) : Number.NaN;
  const byAlike = Number.isNaN(alike) ? 0 : k.elongation.perAlike * (alike - 0.5);
  const byMovement = byKnock > 0 ? Math.max(byTrail, byKnock) : byTrail;
  const tracking = logistic(k.elongation.trackingBase + byMovement + byAlike);
  return {
    shares: { "field-rotation": turned, tracking: (1 - turned) * tracking, wind: (1 - turned) * (1 - tracking) },
    evidence: [
      ...evidence("tracking", "field-moves-along-elongation", byTrail, trail, 1),
      ...evidence("wind", "field-moves-along-elongation", -byTrail, trail, 1),
      ...evidence("tracking", "elongated-like-neighbours", byAlike, alike, 0.5),
      ...evidence("wind", "elongated-like-neighbours", -byAlike, alike, 0.5),
      ...evidence("tracking", "field-displaced", byKnock, stepsMoved(own), 1),
      ...evidence("field-rotation", "rotation-predicted", 4 * turned, own.rotationPx, placed.fwhmPx),
    ],
  };
}

/** Share of the four nearest subs whose stars are as long, in the same direction; NaN: too few around. */
function alikeNearby({ all, index }: Placed): number {
  const own = all[index];
  const near = [-2, -1, 1, 2].map((d) => all[index + d]).filter((s) => s !== undefined);
  if (near.length < 2) return Number.NaN;
  const alike = near.filter((s) => {
    const turn = Math.abs(((s.angleDeg - own.angleDeg + 270) % 180) - 90);
    return Math.abs(s.drawnOut - own.drawnOut) < 0.15 * own.drawnOut && !(turn > 15);
  });
  return alike.length / near.length;
}

/** How far the predicted blur in the corners exceeds what would not show beside the stars' width. */
const rotationShare = ({ rotationPx }: Signs, fwhmPx: number) =>
  fwhmPx > 0 ? Math.min(0.95, Math.max(0, (rotationPx / fwhmPx - 0.4) * 1.2)) : 0;

/**
 * The trail that the field's movement between subs would draw during the exposure, along the elongation, divided by the
 * trail that the stars' shape shows; NaN: cannot be told. A uniform trail of length T adds T^2 / 12 to the variance along
 * it, so T^2 = 12 / (8 ln 2) (a^2 - b^2) with the axes a, b as full widths at half maximum.
 */
function trailShare({ all, index, exposureS }: Placed): number {
  const own = all[index];
  const ratio = 1 - Math.min(0.9, own.drawnOut);
  const seen = own.fwhmPx * Math.sqrt((12 / (8 * Math.LN2)) * (1 / ratio - ratio));
  const near = [0, -1, 1, -2, 2]
    .map((d) => all[index + d])
    .filter((s) => s !== undefined && Number.isFinite(s.stepXPx));
  if (near.length === 0 || !(seen > 0)) return Number.NaN;
  const used = Number.isFinite(own.stepXPx) ? near.slice(0, 3) : near;
  const [x, y] = [median(used.map((s) => s.stepXPx)), median(used.map((s) => s.stepYPx))];
  const angle = (own.angleDeg * Math.PI) / 180;
  const along = Math.abs(x * Math.cos(angle) + y * Math.sin(angle));
  const across = Math.abs(-x * Math.sin(angle) + y * Math.cos(angle));
  const interval = Math.min(
    ...[all[index - 1], all[index + 1]].filter((s) => s !== undefined).map((s) => Math.abs(s.minute - own.minute) * 60),
  );
  const length = Number.isFinite(along) ? Math.max(0, along - across) : Math.hypot(x, y);
  return (length * Math.min(1, exposureS / interval)) / seen;
}
