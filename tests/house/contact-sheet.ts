// Frames as pictures, to be looked at: a stretched thumbnail of each, on one sheet. Grey, 8 bits.
import { deflateSync, crc32 as nodeCrc32 } from "node:zlib";

export interface Picture {
  readonly width: number;
  readonly height: number;
  readonly grey: Uint8Array;
}

/** A PNG file of a grey picture (PNG 1.2: signature, IHDR, IDAT, IEND; filter 0 on every row). */
export function pngOf({ width, height, grey }: Picture): Uint8Array {
  const rows = Buffer.alloc((width + 1) * height);
  for (let y = 0; y < height; y++) rows.set(grey.subarray(y * width, (y + 1) * width), y * (width + 1) + 1);
  const header = Buffer.alloc(13);
  header.writeUInt32BE(width, 0);
  header.writeUInt32BE(height, 4);
  header.set([8, 0, 0, 0, 0], 8);
  const signature = Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]);
  return Buffer.concat([
    signature,
    chunk("IHDR", header),
    chunk("IDAT", deflateSync(rows)),
    chunk("IEND", Buffer.alloc(0)),
  ]);
}

function chunk(type: string, data: Buffer): Buffer {
  const body = Buffer.concat([Buffer.from(type, "latin1"), data]);
  const [length, sum] = [Buffer.alloc(4), Buffer.alloc(4)];
  length.writeUInt32BE(data.length);
  sum.writeUInt32BE(crc32(body));
  return Buffer.concat([length, body, sum]);
}

/** CRC-32 as PNG wants it; Node has it from 20.15 on. */
function crc32(bytes: Buffer): number {
  if (typeof nodeCrc32 === "function") return nodeCrc32(bytes);
  let crc = 0xffffffff;
  for (const byte of bytes) {
    crc ^= byte;
    for (let k = 0; k < 8; k++) crc = crc & 1 ? (crc >>> 1) ^ 0xedb88320 : crc >>> 1;
  }
  return ~crc >>> 0;
}

/** Black and white of a stretch. */
export interface Stretch {
  readonly black: number;
  readonly white: number;
}

/** A stretch that shows the sky dark grey and faint stars: from the median and the spread below it. */
export function stretchFor(pixels: ArrayLike<number>): Stretch {
  const sample = Float64Array.from(
    { length: 20_000 },
    (_, i) => pixels[Math.floor((i * pixels.length) / 20_000)]!,
  ).sort();
  const median = sample[10_000]!;
  const sigma = Math.max(1, median - sample[3_173]!); // 15.87 % lie more than one sigma below
  return { black: median - 3 * sigma, white: median + 40 * sigma };
}

/** A picture by an inverse hyperbolic sine, first row at the bottom, made smaller by averaging `by` x `by` pixels. */
export function stretched(
  pixels: ArrayLike<number>,
  width: number,
  height: number,
  by = 1,
  { black, white } = stretchFor(pixels),
): Picture {
  const [w, h] = [Math.floor(width / by), Math.floor(height / by)];
  const grey = new Uint8Array(w * h);
  const soft = 0.08;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      let sum = 0;
      for (let j = 0; j < by; j++) for (let i = 0; i < by; i++) sum += pixels[(y * by + j) * width + x * by + i]!;
      const t = Math.max(0, Math.min(1, (sum / (by * by) - black) / (white - black)));
      grey[(h - 1 - y) * w + x] = Math.round((255 * Math.asinh(t / soft)) / Math.asinh(1 / soft));
    }
  return { width: w, height: h, grey };
}

/** Pictures of one size side by side, with a thin line between them. */
export function contactSheet(pictures: readonly Picture[], columns: number): Picture {
  const { width: w, height: h } = pictures[0]!;
  const gap = 3;
  const rows = Math.ceil(pictures.length / columns);
  const [width, height] = [columns * (w + gap) + gap, rows * (h + gap) + gap];
  const grey = new Uint8Array(width * height).fill(255);
  pictures.forEach((picture, n) => {
    const [left, top] = [gap + (n % columns) * (w + gap), gap + Math.floor(n / columns) * (h + gap)];
    for (let y = 0; y < h; y++) grey.set(picture.grey.subarray(y * w, (y + 1) * w), (top + y) * width + left);
  });
  return { width, height, grey };
}
