// First look at what made a peak.
import { adaptiveIn, fixedIn } from "./moments.as";
import { balance, cut16 } from "./stamps.as";

/** What a look gives; the same numbers stand in peak-looks.ts. */
const isStar = 0;
const isHot = 1;
/** The stamp leaves the frame: TypeScript looks. */
const unusual = 2;

/** Cuts a stamp; of a mosaic (`balances` not 0) the skies of the four channels are taken off, and it is balanced. */
function cut(
  pixels: usize,
  width: i32,
  left: i32,
  top: i32,
  radius: i32,
  sky: f64,
  balances: usize,
  skies: usize,
  stamp: usize,
  out: usize,
): void {
  const side = 2 * radius + 1;
  cut16(pixels, width, left - radius, top - radius, side, <f32>sky, stamp);
  if (balances == 0) return;
  // Peaks lie on even pixels, so that the radius tells which channel comes first.
  const turned = (radius & 1) * 3;
  for (let channel = 0; channel < 4; channel++) {
    const place = out + ((<usize>(channel ^ turned)) << 3);
    store<f64>(place, load<f64>(skies + ((<usize>channel) << 3)));
    store<f64>(place, load<f64>(balances + ((<usize>channel) << 3)), 32);
  }
  balance(stamp, side, out);
}

/**
 * Places and shapes of what made the peaks of a 16-bit frame; twin: PeakLooks.at, which explains the steps. `peaks` are indices into the sums, `widthOfSums` wide; `records` holds 14 numbers for each peak:
 * the sky and the noise of a pixel are given as the 7th and 8th, and x, y, xx, xy, yy, peak are filled in; the 12th
 * receives the flags: 1 saturated, 2 near the edge, 8 without a shape. Of a mosaic the first four hold what each channel's
 * sky lies above the mean, and `balances` the four factors of the channels; 0: no mosaic. `kinds` receives what each look gave.
 */
export function lookAt16(
  pixels: usize,
  width: i32,
  height: i32,
  peaks: usize,
  count: i32,
  widthOfSums: i32,
  radius: i32,
  largestRadius: i32,
  guessXX: f64,
  guessXY: f64,
  guessYY: f64,
  sigma: f64,
  saturation: f64,
  finestStep: f64,
  coarsestStep: f64,
  stepInNoise: f64,
  stamp: usize,
  out: usize,
  records: usize,
  kinds: usize,
  balances: usize,
): void {
  const side = 2 * radius + 1;
  const wide = min(largestRadius, 3 * radius);
  const skies = out + 512;
  const fixedWeight = Math.max(1, sigma * sigma);
  const clear = 2 * sigma;
  for (let i = 0; i < count; i++, records += 112) {
    const at = load<i32>(peaks + ((<usize>i) << 2));
    const left = 2 * (at % widthOfSums);
    const top = 2 * (at / widthOfSums);
    const kind = kinds + <usize>i;
    if (left < radius || top < radius || left + radius >= width || top + radius >= height) {
      store<u8>(kind, unusual);
      continue;
    }
    const sky = load<f64>(records, 48);
    const noise = load<f64>(records, 56);
    if (balances != 0) memory.copy(skies, records, 32);
    cut(pixels, width, left, top, radius, sky, balances, skies, stamp, out);
    let peak: f64 = -Infinity;
    let peakX = 0;
    let peakY = 0;
    for (let y = -1; y <= 2; y++) {
      const row = stamp + ((<usize>((y + radius) * side + radius - 1)) << 2);
      for (let x = -1; x <= 2; x++) {
        const value = <f64>load<f32>(row + ((<usize>(x + 1)) << 2));
        if (value > peak) {
          peak = value;
          peakX = x;
          peakY = y;
        }
      }
    }
    const raw = <f64>load<u16>(pixels + ((<usize>((top + peakY) * width + left + peakX)) << 1));
    const saturated = raw >= saturation;
    const brightest = stamp + ((<usize>((peakY + radius) * side + peakX + radius)) << 2);
    const rowBytes = (<usize>side) << 2;
    if (!saturated && isHotPixel(brightest, rowBytes, peak, noise)) {
      store<u8>(kind, isHot);
      continue;
    }
    // First moments of what is positive in 5 x 5 pixels.
    let sum: f64 = 0;
    let sumX: f64 = 0;
    let sumY: f64 = 0;
    for (let dy = -2; dy <= 2; dy++) {
      const row = stamp + ((<usize>((peakY + dy + radius) * side + peakX + radius - 2)) << 2);
      for (let dx = -2; dx <= 2; dx++) {
        const found = <f64>load<f32>(row + ((<usize>(dx + 2)) << 2));
        const value = found > 0 ? found : 0;
        sum += value;
        sumX += value * <f64>dx;
        sumY += value * <f64>dy;
      }
    }
    const startX = sum > 0 ? <f64>peakX + sumX / sum : <f64>peakX;
    const startY = sum > 0 ? <f64>peakY + sumY / sum : <f64>peakY;
    const step = Math.max(finestStep, Math.min(coarsestStep, (stepInNoise * noise) / (peak * sigma)));
    const drift = Math.max(3, 1.5 * sigma) * (saturated ? 3 : 1);
    let settled = adaptiveIn(true, stamp, radius, startX, startY, guessXX, guessXY, guessYY, drift, step, out);
    const reach = 3.24 * Math.sqrt(Math.max(load<f64>(out, 16), load<f64>(out, 32)));
    let within = radius;
    if ((settled && reach > <f64>(radius - 2) && radius < largestRadius) || (!settled && saturated)) {
      if (left < wide || top < wide || left + wide >= width || top + wide >= height) {
        store<u8>(kind, unusual);
        continue;
      }
      cut(pixels, width, left, top, wide, sky, balances, skies, stamp, out);
      const twice = 4 * sigma * sigma;
      settled = saturated
        ? adaptiveIn(true, stamp, wide, startX, startY, twice, 0, twice, 2 * drift, step, out)
        : adaptiveIn(true, stamp, wide, startX, startY, guessXX, guessXY, guessYY, 2 * drift, step, out);
      within = wide;
    }
    let got = settled ? 2 : 0;
    if (!settled && !saturated) got = fixedIn(true, stamp, within, startX, startY, fixedWeight, drift, out);
    const x = <f64>left + (got > 0 ? load<f64>(out) : startX);
    const y = <f64>top + (got > 0 ? load<f64>(out, 8) : startY);
    const edge = x < clear || y < clear || x > <f64>(width - 1) - clear || y > <f64>(height - 1) - clear;
    store<f64>(records, x);
    store<f64>(records, y, 8);
    store<f64>(records, got == 2 ? load<f64>(out, 16) : NaN, 16);
    store<f64>(records, got == 2 ? load<f64>(out, 24) : NaN, 24);
    store<f64>(records, got == 2 ? load<f64>(out, 32) : NaN, 32);
    store<f64>(records, peak, 40);
    store<f64>(records, <f64>((saturated ? 1 : 0) | (edge ? 2 : 0) | (got == 2 ? 0 : 8)), 88);
    store<u8>(kind, isStar);
  }
}

/** Twin: isHotPixel, which explains the steps. */
function isHotPixel(at: usize, row: usize, peak: f64, sigma: f64): bool {
  const a = <f64>load<f32>(at - row - 4);
  const b = <f64>load<f32>(at - row);
  const c = <f64>load<f32>(at - row + 4);
  const d = <f64>load<f32>(at - 4);
  const e = <f64>load<f32>(at + 4);
  const f = <f64>load<f32>(at + row - 4);
  const g = <f64>load<f32>(at + row);
  const h = <f64>load<f32>(at + row + 4);
  const around = a + b + c + d + e + f + g + h;
  if (around < 0.4 * peak) return true;
  if (around < 0.8 * peak + 1.5 * sigma) return true;
  const strongest = Math.max(Math.max(Math.max(a, b), Math.max(c, d)), Math.max(Math.max(e, f), Math.max(g, h)));
  return around < 4 * sigma && peak > 6 * sigma && strongest < 3 * sigma;
}
