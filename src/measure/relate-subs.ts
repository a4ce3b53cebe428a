import { quantile } from "../numbers/quantiles.js";
import { brightStarCount } from "./bright-stars.js";
import type { StarMatch } from "./match.js";
import type { MatchSide } from "./sub-task.js";

/** A sub of a group, in time order with the others. */
export interface Relatable extends MatchSide {
  readonly starCount: number;
  readonly fwhmPx: number;
  /** NaN: not known. */
  readonly airmass: number;
  /** Streaks in the sub; absent or NaN: not known. */
  readonly streaks?: number;
  /** Part of the frame that is blocked; absent or NaN: not known. */
  readonly blockedFraction?: number;
}

/** How a sub lies on, and how bright it is against, its group's reference. */
export interface Relation {
  /** Where the middle of the reference lies in this sub, less where it lies in the reference. */
  readonly shiftXPx: number;
  readonly shiftYPx: number;
  /** From +x towards +y, -180 to 180. */
  readonly rotationDeg: number;
  /** Starlight relative to the sub that all were compared with, extinction included. */
  readonly starlight: number;
  /**
   * Standard error of `starlight`: the sub's own, without that of the sub that all were compared with, which shifts all
   * alike and cancels when subs are compared with one another.
   */
  readonly starlightError: number;
  readonly commonStars: number;
}

/** The subs of a group against one another. */
export interface RelatedGroup {
  /** Index of the reference, whose shift is 0; -1 when there is none. */
  readonly reference: number;
  /** null: fewer than five stars in common with any sub that it was compared with. */
  readonly relations: readonly (Relation | null)[];
}

/** Compares two subs by their indices. */
export type Match = (sub: number, reference: number) => Promise<StarMatch | null>;

/**
 * Relative error of starlight by the logarithm of the ratio of two subs' widths, beyond what matching states, and up to
 * which logarithm it grows: between a star of the air's shape and a disc the wings are in doubt, but a wider disc has
 * none. On simulated nights that drift out of focus, seeds 301 to 312.
 */
const errorPerWidth = 0.018;
const mostWidth = 0.7;
/** The reference's share of a comparison's error is at most so much of its square. */
const mostOfReference = 0.75;
/** Matching needs five stars. */
const fewestStars = 5;
/** A sub with a streak, or blocked by more than this, is the reference only where all others are this much less good. */
const leastBlocked = 0.02;
const spoiledCost = 1.25;
/** The field is where most subs are: a reference this far (share of the width) from the middle of all shifts is replaced. */
const leastMove = 0.02;

/**
 * Compares the subs of a group with one of them that is sharp and shows many stars. A sub that does not match it is
 * compared with the related sub nearest in time; one such step at most. When most subs stay unrelated, that sub was a
 * poor choice (a field of its own), and another one is tried. The reference, from which shifts count, is a sub in the
 * middle of all shifts, so that a few subs that point elsewhere are the ones that are shifted.
 * @param match - compares two subs by their indices
 */
export async function relateSubs(subs: readonly Relatable[], match: Match): Promise<RelatedGroup> {
  const able = subs.flatMap((sub, i) => (brightStarCount(sub.brightStars) >= fewestStars ? [i] : []));
  if (able.length === 0) return { reference: -1, relations: subs.map(() => null) };
  let best = await relateTo(bestOf(subs, able), able, subs, match);
  const left = able.filter((i) => best[i] === null);
  if (2 * left.length > able.length) {
    const other = await relateTo(bestOf(subs, left), able, subs, match);
    if (count(other) > count(best)) best = other;
  }
  return anchored(best, subs[able[0]!]!.width);
}

const count = (relations: readonly (Relation | null)[]) => relations.filter((r) => r !== null).length;

/**
 * Of the subs with about as many stars as the best tenth, the sharpest, of equally sharp ones that nearest the zenith. One
 * that carries a streak or is partly blocked is passed over for one that is almost as good.
 */
function bestOf(subs: readonly Relatable[], among: readonly number[]): number {
  const isSpoiled = (i: number) => (subs[i]!.streaks ?? 0) > 0 || (subs[i]!.blockedFraction ?? 0) > leastBlocked;
  // Pieces of a streak count as stars: how many there are to see, the other subs say.
  const whole = among.filter((i) => !isSpoiled(i));
  const most = quantile(
    (2 * whole.length >= among.length ? whole : among).map((i) => subs[i]!.starCount),
    0.9,
  );
  const cost = (i: number) => {
    const { fwhmPx, airmass } = subs[i]!;
    return (fwhmPx > 0 ? fwhmPx : 1e9) * Math.sqrt(airmass > 0 ? airmass : 1) * (isSpoiled(i) ? spoiledCost : 1);
  };
  const rich = among.filter((i) => subs[i]!.starCount >= 0.8 * most);
  return (rich.length > 0 ? rich : among).reduce((a, b) => (cost(b) < cost(a) ? b : a));
}

async function relateTo(
  reference: number,
  able: readonly number[],
  subs: readonly Relatable[],
  match: Match,
): Promise<(Relation | null)[]> {
  const others = able.filter((i) => i !== reference);
  const direct = new Array<Relation | null>(subs.length).fill(null);
  const found = await Promise.all(others.map((i) => match(i, reference)));
  others.forEach((i, k) => {
    direct[i] = found[k] ? relationOf(found[k], subs[i]!, subs[reference]!) : null;
  });
  const own = ownError(direct);
  direct.forEach((relation, i) => {
    if (relation !== null) direct[i] = withoutReference(relation, own);
  });
  direct[reference] = { ...nowhere, starlightError: own };
  const left = others.filter((i) => direct[i] === null);
  const related = able.filter((i) => direct[i] !== null);
  const chained = await Promise.all(
    left.map(async (i) => {
      const near = related.reduce((a, b) => (Math.abs(b - i) < Math.abs(a - i) ? b : a));
      const step = near === reference ? null : await match(i, near);
      return step && chain(direct[near]!, relationOf(step, subs[i]!, subs[near]!));
    }),
  );
  left.forEach((i, k) => {
    direct[i] = chained[k]!;
  });
  return direct;
}

const nowhere = { shiftXPx: 0, shiftYPx: 0, rotationDeg: 0, starlight: 1, starlightError: 0, commonStars: 0 };

const relationOf = (
  { zeroPoint, zeroPointError, matches, shiftXPx, shiftYPx, rotationDeg }: StarMatch,
  sub: Relatable,
  reference: Relatable,
): Relation => ({
  shiftXPx,
  shiftYPx,
  rotationDeg,
  starlight: zeroPoint,
  starlightError: Math.hypot(zeroPointError, zeroPoint * widthError(sub.fwhmPx, reference.fwhmPx)),
  commonStars: matches,
});

/** What wider stars gather in wings and from unseen neighbours leaves this relative error. */
function widthError(fwhmPx: number, otherPx: number): number {
  return fwhmPx > 0 && otherPx > 0 ? errorPerWidth * Math.min(mostWidth, Math.abs(Math.log(fwhmPx / otherPx))) : 0;
}

/** The reference's own share in the errors of its comparisons: of two equally good subs, each has 1 / sqrt(2). */
function ownError(relations: readonly (Relation | null)[]): number {
  const relative = relations.flatMap((r) => (r === null ? [] : [r.starlightError / r.starlight]));
  return quantile(relative, 0.25) / Math.SQRT2;
}

/** A relation whose error is the sub's alone. */
function withoutReference(relation: Relation, own: number): Relation {
  const { starlight, starlightError } = relation;
  const referenceShare = Math.min((own * starlight) ** 2, mostOfReference * starlightError ** 2);
  return { ...relation, starlightError: Math.sqrt(starlightError ** 2 - referenceShare) };
}

/** From the reference to a sub by way of another: first `to`, then `on`. */
function chain(to: Relation, on: Relation): Relation {
  const [x, y] = turned(to.shiftXPx, to.shiftYPx, on.rotationDeg);
  const starlight = to.starlight * on.starlight;
  return {
    shiftXPx: x + on.shiftXPx,
    shiftYPx: y + on.shiftYPx,
    rotationDeg: signedDeg(to.rotationDeg + on.rotationDeg),
    starlight,
    starlightError: starlight * Math.hypot(to.starlightError / to.starlight, on.starlightError / on.starlight),
    commonStars: on.commonStars,
  };
}

/** The way back; brightness is left as it is, as it is only compared within the group. */
function backwards({ shiftXPx, shiftYPx, rotationDeg }: Relation): Relation {
  const [x, y] = turned(-shiftXPx, -shiftYPx, -rotationDeg);
  return { ...nowhere, shiftXPx: x, shiftYPx: y, rotationDeg: -rotationDeg };
}

/** Counts shifts from a sub in the middle of them. */
function anchored(relations: readonly (Relation | null)[], width: number): RelatedGroup {
  const known = relations.flatMap((r, i) => (r === null ? [] : [i]));
  const middle = (of: (r: Relation) => number) =>
    quantile(
      known.map((i) => of(relations[i]!)),
      0.5,
    );
  const x = middle((r) => r.shiftXPx);
  const y = middle((r) => r.shiftYPx);
  const away = (i: number) => Math.hypot(relations[i]!.shiftXPx - x, relations[i]!.shiftYPx - y);
  const first = known.find((i) => relations[i]!.commonStars === 0)!;
  if (away(first) < leastMove * width) return { reference: first, relations };
  const reference = known.reduce((a, b) => (away(b) < away(a) ? b : a));
  const back = backwards(relations[reference]!);
  return {
    reference,
    relations: relations.map((r) => {
      if (r === null) return null;
      const { shiftXPx, shiftYPx, rotationDeg } = chain(back, r);
      return { ...r, shiftXPx, shiftYPx, rotationDeg };
    }),
  };
}

function turned(x: number, y: number, angleDeg: number): [number, number] {
  const cosine = Math.cos((angleDeg * Math.PI) / 180);
  const sine = Math.sin((angleDeg * Math.PI) / 180);
  return [cosine * x - sine * y, sine * x + cosine * y];
}

const signedDeg = (angle: number) => ((((angle + 180) % 360) + 360) % 360) - 180;
