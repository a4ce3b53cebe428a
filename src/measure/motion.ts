/** A rotation and a shift: x' = cosine x - sine y + shiftX, y' = sine x + cosine y + shiftY. */
export interface Motion {
  readonly cosine: number;
  readonly sine: number;
  readonly shiftX: number;
  readonly shiftY: number;
}

/** Places of stars. */
export interface Places {
  readonly x: Float64Array;
  readonly y: Float64Array;
}

export const movedX = (m: Motion, x: number, y: number) => m.cosine * x - m.sine * y + m.shiftX;
export const movedY = (m: Motion, x: number, y: number) => m.sine * x + m.cosine * y + m.shiftY;

/** The motion back. */
export function inverse({ cosine, sine, shiftX, shiftY }: Motion): Motion {
  return { cosine, sine: -sine, shiftX: -cosine * shiftX - sine * shiftY, shiftY: sine * shiftX - cosine * shiftY };
}

/**
 * The rotation and shift with the least squared distances between pairs of places (closed form in the plane).
 * @param weights - of the pairs; without them all count alike
 */
export function fitMotion(from: Places, to: Places, weights?: Float64Array): Motion {
  const n = from.x.length;
  const weight = (i: number) => weights?.[i] ?? 1;
  let all = 0;
  let [fromX, fromY, toX, toY] = [0, 0, 0, 0];
  for (let i = 0; i < n; i++) {
    all += weight(i);
    fromX += weight(i) * from.x[i]!;
    fromY += weight(i) * from.y[i]!;
    toX += weight(i) * to.x[i]!;
    toY += weight(i) * to.y[i]!;
  }
  [fromX, fromY, toX, toY] = [fromX / all, fromY / all, toX / all, toY / all];
  let along = 0;
  let across = 0;
  for (let i = 0; i < n; i++) {
    const x = from.x[i]! - fromX;
    const y = from.y[i]! - fromY;
    along += weight(i) * (x * (to.x[i]! - toX) + y * (to.y[i]! - toY));
    across += weight(i) * (x * (to.y[i]! - toY) - y * (to.x[i]! - toX));
  }
  return motionOf(along, across, fromX, fromY, toX, toY);
}

/** From sums of products about the middles of both lists, and these middles. */
function motionOf(along: number, across: number, fromX: number, fromY: number, toX: number, toY: number): Motion {
  const length = Math.sqrt(along * along + across * across);
  const cosine = length > 0 ? along / length : 1;
  const sine = length > 0 ? across / length : 0;
  return { cosine, sine, shiftX: toX - cosine * fromX + sine * fromY, shiftY: toY - sine * fromX - cosine * fromY };
}

interface Triangle {
  /** Lengths of the longest, middle and shortest side. */
  readonly sides: readonly [number, number, number];
  /** Corners opposite these sides. */
  readonly corners: readonly [number, number, number];
}

const neighbours = 6;
const leastSidePx = 12;
const sideErrorPx = 2;
const mostMotions = 400;

/**
 * Motions under which a triangle of stars of one sub falls on one of the other (the idea of Groth 1986, with sides
 * instead of ratios, as the scale is known). Triangles join near neighbours, so that they survive when other stars are
 * missing.
 * @returns the motions that most triangles agree on, most first
 */
export function motionsByTriangles(from: Places, to: Places): Motion[] {
  const theirs = trianglesOf(to).sort((a, b) => a.sides[0] - b.sides[0]);
  const votes = new Map<string, { motion: Motion; count: number }>();
  for (const ours of trianglesOf(from)) {
    let at = firstNotBelow(theirs, ours.sides[0] - sideErrorPx);
    for (; at < theirs.length && theirs[at]!.sides[0] <= ours.sides[0] + sideErrorPx; at++) {
      const other = theirs[at]!;
      if (Math.abs(other.sides[1] - ours.sides[1]) > sideErrorPx) continue;
      if (Math.abs(other.sides[2] - ours.sides[2]) > sideErrorPx) continue;
      const motion = fitThree(from, ours.corners, to, other.corners);
      if (!fits(motion, from, ours.corners, to, other.corners)) continue;
      const angle = Math.round((Math.atan2(motion.sine, motion.cosine) * 180) / Math.PI / 4);
      const key = `${(angle + 90) % 90},${Math.round(motion.shiftX / 24)},${Math.round(motion.shiftY / 24)}`;
      const vote = votes.get(key);
      if (vote === undefined) votes.set(key, { motion, count: 1 });
      else vote.count++;
    }
  }
  return [...votes.values()]
    .sort((a, b) => b.count - a.count)
    .slice(0, mostMotions)
    .map(({ motion }) => motion);
}

/** Triangles of each star with pairs of its nearest neighbours that are not too close. */
function trianglesOf({ x, y }: Places): Triangle[] {
  const n = x.length;
  const apart = new Float64Array(n * n);
  for (let i = 0; i < n; i++)
    for (let j = 0; j < i; j++) {
      const [dx, dy] = [x[i]! - x[j]!, y[i]! - y[j]!];
      apart[i * n + j] = Math.sqrt(dx * dx + dy * dy);
      apart[j * n + i] = apart[i * n + j]!;
    }
  const seen = new Set<number>();
  const triangles: Triangle[] = [];
  for (let i = 0; i < n; i++) {
    const near = nearest(apart, n, i);
    for (let a = 0; a < near.length; a++)
      for (let b = a + 1; b < near.length; b++) {
        const three = [i, near[a]!, near[b]!].sort((p, q) => p - q) as [number, number, number];
        const key = (three[0] * n + three[1]) * n + three[2];
        if (seen.has(key)) continue;
        seen.add(key);
        const opposite = three.map((corner, k) => ({
          corner,
          length: apart[three[(k + 1) % 3]! * n + three[(k + 2) % 3]!]!,
        }));
        const [longest, middle, shortest] = opposite.sort((p, q) => q.length - p.length);
        if (shortest!.length < leastSidePx) continue;
        triangles.push({
          sides: [longest!.length, middle!.length, shortest!.length],
          corners: [longest!.corner, middle!.corner, shortest!.corner],
        });
      }
  }
  return triangles;
}

/** The nearest neighbours of a star that are not too close, nearest first. */
function nearest(apart: Float64Array, n: number, star: number): number[] {
  const near: number[] = [];
  const row = star * n;
  for (let j = 0; j < n; j++) {
    const distance = apart[row + j]!;
    if (j === star || !(distance > leastSidePx)) continue;
    if (near.length === neighbours) {
      if (distance >= apart[row + near[neighbours - 1]!]!) continue;
      near.pop();
    }
    let at = near.length;
    while (at > 0 && apart[row + near[at - 1]!]! > distance) at--;
    near.splice(at, 0, j);
  }
  return near;
}

/** As {@link fitMotion}, for three stars of longer lists. */
function fitThree(from: Places, ours: Triangle["corners"], to: Places, theirs: Triangle["corners"]): Motion {
  let [fromX, fromY, toX, toY] = [0, 0, 0, 0];
  for (let k = 0; k < 3; k++) {
    fromX += from.x[ours[k]!]! / 3;
    fromY += from.y[ours[k]!]! / 3;
    toX += to.x[theirs[k]!]! / 3;
    toY += to.y[theirs[k]!]! / 3;
  }
  let along = 0;
  let across = 0;
  for (let k = 0; k < 3; k++) {
    const x = from.x[ours[k]!]! - fromX;
    const y = from.y[ours[k]!]! - fromY;
    const u = to.x[theirs[k]!]! - toX;
    const v = to.y[theirs[k]!]! - toY;
    along += x * u + y * v;
    across += x * v - y * u;
  }
  return motionOf(along, across, fromX, fromY, toX, toY);
}

/** False for mirror images, which no rotation brings together. */
function fits(m: Motion, from: Places, ours: readonly number[], to: Places, theirs: readonly number[]): boolean {
  for (let k = 0; k < ours.length; k++) {
    const [i, j] = [ours[k]!, theirs[k]!];
    const dx = movedX(m, from.x[i]!, from.y[i]!) - to.x[j]!;
    const dy = movedY(m, from.x[i]!, from.y[i]!) - to.y[j]!;
    if (!(dx * dx + dy * dy < 4 * sideErrorPx * sideErrorPx)) return false;
  }
  return true;
}

function firstNotBelow(sorted: readonly Triangle[], length: number): number {
  let low = 0;
  let high = sorted.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (sorted[middle]!.sides[0] < length) low = middle + 1;
    else high = middle;
  }
  return low;
}
