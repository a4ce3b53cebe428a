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

/** The rotation and shift with the least squared distances between pairs of places (closed form in the plane). */
export function fitMotion(from: Places, to: Places): Motion {
  const n = from.x.length;
  const mean = (values: Float64Array) => values.reduce((sum, value) => sum + value, 0) / n;
  const [fromX, fromY, toX, toY] = [mean(from.x), mean(from.y), mean(to.x), mean(to.y)];
  let along = 0;
  let across = 0;
  for (let i = 0; i < n; i++) {
    const x = from.x[i]! - fromX;
    const y = from.y[i]! - fromY;
    along += x * (to.x[i]! - toX) + y * (to.y[i]! - toY);
    across += x * (to.y[i]! - toY) - y * (to.x[i]! - toX);
  }
  const length = Math.hypot(along, across) || 1;
  const cosine = length > 0 && (along !== 0 || across !== 0) ? along / length : 1;
  const sine = across / length;
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
      const motion = fitMotion(pick(from, ours.corners), pick(to, other.corners));
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
function trianglesOf(places: Places): Triangle[] {
  const n = places.x.length;
  const side = (i: number, j: number) => Math.hypot(places.x[i]! - places.x[j]!, places.y[i]! - places.y[j]!);
  const seen = new Set<number>();
  const triangles: Triangle[] = [];
  for (let i = 0; i < n; i++) {
    const near = Array.from({ length: n }, (_, j) => j)
      .filter((j) => j !== i && side(i, j) > leastSidePx)
      .sort((a, b) => side(i, a) - side(i, b))
      .slice(0, neighbours);
    for (let a = 0; a < near.length; a++)
      for (let b = a + 1; b < near.length; b++) {
        const three = [i, near[a]!, near[b]!].sort((p, q) => p - q) as [number, number, number];
        const key = (three[0] * n + three[1]) * n + three[2];
        if (seen.has(key)) continue;
        seen.add(key);
        const opposite = three.map((corner, k) => ({ corner, length: side(three[(k + 1) % 3]!, three[(k + 2) % 3]!) }));
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

const pick = ({ x, y }: Places, corners: readonly number[]): Places => ({
  x: Float64Array.from(corners, (i) => x[i]!),
  y: Float64Array.from(corners, (i) => y[i]!),
});

/** False for mirror images, which no rotation brings together. */
function fits(m: Motion, from: Places, ours: readonly number[], to: Places, theirs: readonly number[]): boolean {
  return ours.every((i, k) => {
    const j = theirs[k]!;
    const dx = movedX(m, from.x[i]!, from.y[i]!) - to.x[j]!;
    const dy = movedY(m, from.x[i]!, from.y[i]!) - to.y[j]!;
    return Math.hypot(dx, dy) < 2 * sideErrorPx;
  });
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
