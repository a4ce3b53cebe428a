import type { Workspace } from "./simd/workspace.js";
import type { Line } from "./streak-line.js";
import type { Points } from "./streak-points.js";

const directions = 270;
const turns = Array.from({ length: directions }, (_, direction) => {
  const angle = (direction * Math.PI) / directions;
  return { cosine: Math.cos(angle), sine: Math.sin(angle) };
});
/** At most so many points vote. */
export const mostVoters = 6_000;
/** Fewer votes than this make no line. */
export const fewestVoters = 10;

const diagonalOf = (width: number, height: number) => Math.ceil(Math.hypot(width, height));
const strideOf = (diagonal: number) => 2 * diagonal + 1;

/** How many lines can be voted for in an image of that size. */
export const ballotCells = (width: number, height: number) => directions * strideOf(diagonalOf(width, height));

/** Where voters and votes are kept. */
export type BallotSpace = Pick<Workspace, "kernels" | "voters" | "votes">;

/** The votes of points for lines: each votes for the line through it in every direction, and can take its votes back. */
export class Ballot {
  readonly #points: Points;
  readonly #diagonal: number;
  readonly #stride: number;
  /** Every so many points one votes. */
  readonly #step: number;
  readonly #voting: Uint8Array;
  readonly #votes: Uint16Array;
  readonly #kernels: Workspace["kernels"];

  constructor(points: Points, { kernels, voters, votes: room }: BallotSpace) {
    const { x, y, width, height } = points;
    this.#points = points;
    this.#diagonal = diagonalOf(width, height);
    this.#stride = strideOf(this.#diagonal);
    this.#step = Math.max(1, Math.ceil(x.length / mostVoters));
    this.#voting = new Uint8Array(x.length);
    this.#votes = room.subarray(0, ballotCells(width, height));
    this.#kernels = kernels;
    const step = this.#step;
    const votes = this.#votes.fill(0);
    const voterY = voters.subarray(mostVoters);
    let count = 0;
    for (let i = 0; i < x.length; i += step) {
      this.#voting[i] = 1;
      voters[count] = x[i]!;
      voterY[count++] = y[i]!;
    }
    // Direction by direction, so that the votes of one direction stay in the processor's cache.
    for (let direction = 0; direction < directions; direction++) {
      const { cosine, sine } = turns[direction]!;
      const base = direction * this.#stride + this.#diagonal;
      if (kernels !== null)
        kernels.vote(voters.byteOffset, voterY.byteOffset, count, cosine, sine, base, votes.byteOffset);
      else for (let i = 0; i < count; i++) votes[base + Math.floor(voters[i]! * cosine + voterY[i]! * sine + 0.5)]!++;
    }
  }

  withdraw(point: number): void {
    if (this.#voting[point] === 0) return;
    this.#voting[point] = 0;
    const x = this.#points.x[point]!;
    const y = this.#points.y[point]!;
    for (let direction = 0; direction < directions; direction++) {
      const { cosine, sine } = turns[direction]!;
      this.#votes[direction * this.#stride + this.#diagonal + Math.floor(x * cosine + y * sine + 0.5)]!--;
    }
  }

  /** The line with most votes; null when chance alone gives as many. */
  strongestLine(): Line | null {
    const votes = this.#votes;
    const bestCell =
      this.#kernels === null ? firstLargest(votes) : this.#kernels.firstLargest16(votes.byteOffset, votes.length);
    const best = votes[bestCell]!;
    const { x, width, height } = this.#points;
    // What chance puts on the longest line, one cell wide.
    const chance = (x.length / this.#step / (width * height)) * this.#diagonal;
    if (best < Math.max(fewestVoters, chance + 6 * Math.sqrt(chance))) return null;
    const { cosine, sine } = turns[Math.floor(bestCell / this.#stride)]!;
    return { normalX: cosine, normalY: sine, distance: (bestCell % this.#stride) - this.#diagonal };
  }
}

function firstLargest(values: Uint16Array): number {
  let best = 0;
  for (let i = 1; i < values.length; i++) if (values[i]! > values[best]!) best = i;
  return best;
}
