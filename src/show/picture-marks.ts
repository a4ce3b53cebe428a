import { type StarList, starFlags } from "../measure/star.js";
import type { Streak } from "../measure/streaks.js";
import type { Raster } from "./png.js";
import { countWords, listWords } from "./words.js";

/** Squares of a frame that something covers, row after row as stored. */
export interface BlockedCells {
  readonly across: number;
  /** Side of a square, pixels of the frame. */
  readonly cellPx: number;
  /** 1: covered. */
  readonly covered: Uint8Array;
}

/** What is drawn over a picture; all places in pixels of the frame, rows as stored. */
export interface PictureMarks {
  readonly stars?: StarList;
  readonly streaks?: readonly Streak[];
  readonly blocked?: BlockedCells;
}

/** From places in the frame to places in the picture. */
export interface MarkScale {
  readonly by: number;
  /** Rows of the picture; the first stored row is drawn at its bottom or at its top. */
  readonly firstRow: "bottom" | "top";
}

/** Okabe & Ito's colours; the marks differ in shape too: rings, dashes, hatching. */
const [starColour, streakColour, blockedColour] = [0x56b4e9, 0xf0a020, 0xe58ab8];
const mostRings = 300;
const dash = { on: 7, period: 12 };
const hatchPeriod = 9;

/** The picture with marks beside what they point at: they cover as little of it as they can. */
export function withMarks(picture: Raster, marks: PictureMarks, scale: MarkScale): Raster {
  const { width, height } = picture;
  const samples = new Uint8Array(3 * width * height);
  for (let i = 0; i < width * height; i++)
    for (let c = 0; c < 3; c++) samples[3 * i + c] = picture.samples[picture.channels === 1 ? i : 3 * i + c]!;
  const dot = (x: number, y: number, colour: number) => {
    const [column, row] = [Math.round(x), Math.round(y)];
    if (column < 0 || row < 0 || column >= width || row >= height) return;
    const at = 3 * (row * width + column);
    samples[at] = colour >> 16;
    samples[at + 1] = (colour >> 8) & 255;
    samples[at + 2] = colour & 255;
  };
  const xOf = (xPx: number) => (xPx + 0.5) / scale.by - 0.5;
  const yOf = (yPx: number) => {
    const row = (yPx + 0.5) / scale.by - 0.5;
    return scale.firstRow === "top" ? row : height - 1 - row;
  };
  if (marks.blocked !== undefined) hatch(marks.blocked, picture, scale, dot);
  for (const i of ringed(marks.stars)) {
    const { xPx, yPx, hfrPx } = marks.stars!;
    const radius = Math.max(4, (2 * (hfrPx[i]! || 0)) / scale.by + 3);
    const steps = Math.ceil(8 * radius);
    for (let k = 0; k < steps; k++) {
      const angle = (2 * Math.PI * k) / steps;
      dot(xOf(xPx[i]!) + radius * Math.cos(angle), yOf(yPx[i]!) + radius * Math.sin(angle), starColour);
    }
  }
  for (const streak of marks.streaks ?? []) {
    const angle = (streak.angleDeg * Math.PI) / 180;
    const [cosine, sine] = [Math.cos(angle), Math.sin(angle)];
    // Two dashed lines, one on each side, so that the streak itself stays visible.
    const away = streak.widthPx + 4 * scale.by;
    const steps = Math.ceil(streak.lengthPx / scale.by);
    for (let k = 0; k <= steps; k++) {
      if (k % dash.period >= dash.on) continue;
      const along = (k / steps - 0.5) * streak.lengthPx;
      for (const side of [-away, away])
        dot(
          xOf(streak.xPx + along * cosine - side * sine),
          yOf(streak.yPx + along * sine + side * cosine),
          streakColour,
        );
    }
  }
  return { width, height, channels: 3, samples };
}

/** The brightest stars that are no galaxies or blends. */
function ringed(stars: StarList | undefined): number[] {
  if (stars === undefined) return [];
  const all = Array.from({ length: stars.count }, (_, i) => i);
  return all.filter((i) => (stars.flags[i]! & starFlags.extended) === 0).slice(0, mostRings);
}

/** Slanted lines over the covered squares, with the picture visible between them. */
function hatch(
  { across, cellPx, covered }: BlockedCells,
  { width, height }: Raster,
  { by, firstRow }: MarkScale,
  dot: (x: number, y: number, colour: number) => void,
): void {
  const down = Math.ceil(covered.length / across);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      if ((x + y) % hatchPeriod !== 0) continue;
      const stored = firstRow === "top" ? y : height - 1 - y;
      // What is left beside the last whole square belongs to it.
      const column = Math.min(across - 1, Math.floor(((x + 0.5) * by) / cellPx));
      const row = Math.min(down - 1, Math.floor(((stored + 0.5) * by) / cellPx));
      if (covered[row * across + column] === 1) dot(x, y, blockedColour);
    }
}

/** What the marks are, as a sentence; empty without marks. */
export function marksWords({ stars, streaks, blocked }: PictureMarks): string {
  const parts: string[] = [];
  if (stars !== undefined) {
    const rings = ringed(stars).length;
    const whole =
      stars.count > rings && rings === mostRings ? `the ${rings} brightest stars` : countWords(rings, "star");
    parts.push(`rings: ${whole}`);
  }
  if (streaks !== undefined)
    parts.push(
      streaks.length === 0 ? "no streak was found" : `dashed pairs of lines: ${countWords(streaks.length, "streak")}`,
    );
  if (blocked !== undefined) {
    const share = blocked.covered.reduce((sum, c) => sum + c, 0) / Math.max(1, blocked.covered.length);
    parts.push(share === 0 ? "nothing is blocked" : `hatching: blocked, ${(100 * share).toFixed(0)} % of the frame`);
  }
  return parts.length === 0 ? "" : `Marks drawn on top \u2013 ${listWords(parts)}.`;
}
