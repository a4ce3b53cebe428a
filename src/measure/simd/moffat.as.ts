// Profile fits.
import { exp2, log2, sumOf } from "./lanes.as";

/** Weights of the pixels under a Moffat profile; twin: fillWeights. */
export function moffatWeights(p: usize, radius: i32, skyVariance: f64, perValue: f64, weights: usize): void {
  const x0 = load<f64>(p, 16);
  const y0 = load<f64>(p, 24);
  const perBeta = load<f64>(p, 56);
  const a = f32x4.splat(<f32>(load<f64>(p, 32) * perBeta));
  const b = load<f64>(p, 40) * perBeta;
  const c = load<f64>(p, 48) * perBeta;
  const minusBeta = f32x4.splat(<f32>(-1 / perBeta));
  const light = f32x4.splat(<f32>(perValue * load<f64>(p)));
  const sky = f32x4.splat(<f32>skyVariance);
  const one = f32x4.splat(1);
  const side = 2 * radius + 1;
  const lanes = f32x4(0, 1, 2, 3);
  for (let y = 0; y < side; y++) {
    const dy = <f64>(y - radius) - y0;
    const inY = f32x4.splat(<f32>(1 + c * dy * dy));
    const cross = f32x4.splat(<f32>(2 * b * dy));
    for (let x = 0; x < side; x += 4) {
      const dx = f32x4.add(f32x4.splat(<f32>(<f64>(x - radius) - x0)), lanes);
      const u = f32x4.add(inY, f32x4.mul(dx, f32x4.add(cross, f32x4.mul(a, dx))));
      const profile = exp2(f32x4.max(f32x4.splat(-80), f32x4.mul(minusBeta, log2(u))));
      v128.store(
        weights + ((<usize>(y * side + x)) << 2),
        f32x4.div(one, f32x4.add(sky, f32x4.mul(light, profile))),
      );
    }
  }
}

/**
 * Moffat profile of peak 1 as the mean of nine Gauss-Legendre points in each pixel; twin: meanOverPixel. `p` holds x, y,
 * a, b, c, beta of (1 + a dx^2 + 2 b dx dy + c dy^2)^-beta; `into` receives a square of the stamp's side.
 */
export function moffatImage(p: usize, radius: i32, into: usize): void {
  const x0 = load<f64>(p);
  const y0 = load<f64>(p, 8);
  const a = f32x4.splat(<f32>load<f64>(p, 16));
  const b = load<f64>(p, 24);
  const c = load<f64>(p, 32);
  const minusBeta = f32x4.splat(<f32>-load<f64>(p, 40));
  const side = 2 * radius + 1;
  const lanes = f32x4(0, 1, 2, 3);
  const lowest = f32x4.splat(-80);
  // sqrt(0.15), and products of the weights 5/18, 8/18, 5/18.
  const off = 0.3872983346207417;
  const off4 = f32x4.splat(<f32>off);
  const corner = f32x4.splat(<f32>(25.0 / 324));
  const edge = f32x4.splat(<f32>(40.0 / 324));
  const middle = f32x4.splat(<f32>(64.0 / 324));
  for (let y = 0; y < side; y++) {
    for (let x = 0; x < side; x += 4) {
      const dx = f32x4.add(f32x4.splat(<f32>(<f64>(x - radius) - x0)), lanes);
      const left = f32x4.sub(dx, off4);
      const right = f32x4.add(dx, off4);
      let sum = f32x4.splat(0);
      for (let row = -1; row <= 1; row++) {
        const dy = <f64>(y - radius) - y0 + <f64>row * off;
        const inY = f32x4.splat(<f32>(1 + c * dy * dy));
        const cross = f32x4.splat(<f32>(2 * b * dy));
        const beside = row == 0 ? edge : corner;
        const within = row == 0 ? middle : edge;
        const u0 = f32x4.add(inY, f32x4.mul(left, f32x4.add(cross, f32x4.mul(a, left))));
        const u1 = f32x4.add(inY, f32x4.mul(dx, f32x4.add(cross, f32x4.mul(a, dx))));
        const u2 = f32x4.add(inY, f32x4.mul(right, f32x4.add(cross, f32x4.mul(a, right))));
        const p0 = exp2(f32x4.max(lowest, f32x4.mul(minusBeta, log2(u0))));
        const p1 = exp2(f32x4.max(lowest, f32x4.mul(minusBeta, log2(u1))));
        const p2 = exp2(f32x4.max(lowest, f32x4.mul(minusBeta, log2(u2))));
        sum = f32x4.add(sum, f32x4.add(f32x4.mul(beside, f32x4.add(p0, p2)), f32x4.mul(within, p1)));
      }
      v128.store(into + ((<usize>(y * side + x)) << 2), sum);
    }
  }
}

/**
 * Compares a pixel-integrated Moffat profile with a stamp; twin: compareMoffat, which explains it. `into` receives the
 * lower triangle of the 8 x 8 matrix (row after row of 8), the right side, chi-square. `rows` is scratch for 45 vectors.
 */
export function compareMoffat(
  p: usize,
  stamp: usize,
  stampRadius: i32,
  radius: i32,
  weights: usize,
  fineLimit: f64,
  into: usize,
  rows: usize,
): bool {
  const peak = load<f64>(p);
  const sky = f32x4.splat(<f32>load<f64>(p, 8));
  const x0 = load<f64>(p, 16);
  const y0 = load<f64>(p, 24);
  const perBeta = load<f64>(p, 56);
  const beta = 1 / perBeta;
  const a = load<f64>(p, 32) * perBeta;
  const b = load<f64>(p, 40) * perBeta;
  const c = load<f64>(p, 48) * perBeta;
  const a4 = f32x4.splat(<f32>a);
  const b4 = f32x4.splat(<f32>b);
  const c4 = f32x4.splat(<f32>c);
  const beta4 = f32x4.splat(<f32>beta);
  const minusBeta = f32x4.splat(<f32>-beta);
  const peak4 = f32x4.splat(<f32>peak);
  const perBeta4 = f32x4.splat(<f32>perBeta);
  const trace = f32x4.splat(<f32>(2 * (a + c)));
  const fourBeta1 = f32x4.splat(<f32>(4 * (beta + 1)));
  const one = f32x4.splat(1);
  const ln2 = f32x4.splat(0.69314718);
  const per24 = f32x4.splat(<f32>(1.0 / 24));
  const side = 2 * stampRadius + 1;
  const limit = f32x4.splat(<f32>((<f64>radius + 0.3) * (<f64>radius + 0.3)));
  const last = f32x4.splat(<f32>radius + 0.25);
  const fine = f32x4.splat(<f32>fineLimit);
  const quarter = f32x4.splat(0.25);
  const lanes = f32x4(0, 1, 2, 3);
  const none = f32x4.splat(0);
  memory.fill(rows, 0, 45 << 4);
  for (let py = -radius; py <= radius; py++) {
    const py2 = f32x4.splat(<f32>(py * py));
    for (let px = -radius; px <= radius; px += 4) {
      const pixelX = f32x4.add(f32x4.splat(<f32>px), lanes);
      const distance2 = f32x4.add(f32x4.mul(pixelX, pixelX), py2);
      const at = (<usize>((py + stampRadius) * side + px + stampRadius)) << 2;
      const value = v128.load(stamp + at);
      const inside = v128.and(v128.and(f32x4.le(distance2, limit), f32x4.le(pixelX, last)), f32x4.eq(value, value));
      if (!v128.any_true(inside)) continue;
      const isFine = v128.and(inside, f32x4.lt(distance2, fine));
      const points = v128.any_true(isFine) ? 5 : 1;
      let model = none;
      let slopeX = none;
      let slopeY = none;
      let slopeA = none;
      let slopeB = none;
      let slopeC = none;
      let slopePerBeta = none;
      // Point 0 is the middle of the pixel, for lanes that are not fine; points 1 to 4 are Gauss-Legendre points.
      for (let point = 0; point < points; point++) {
        const offsetX: f64 = point == 0 ? 0 : (point & 1) == 0 ? 0.28867513459481287 : -0.28867513459481287;
        const offsetY: f64 = point == 0 ? 0 : point > 2 ? 0.28867513459481287 : -0.28867513459481287;
        const dx = f32x4.add(pixelX, f32x4.splat(<f32>(offsetX - x0)));
        const dy = f32x4.splat(<f32>(<f64>py + offsetY - y0));
        const halfX = f32x4.add(f32x4.mul(a4, dx), f32x4.mul(b4, dy));
        const halfY = f32x4.add(f32x4.mul(b4, dx), f32x4.mul(c4, dy));
        const u = f32x4.add(one, f32x4.add(f32x4.mul(halfX, dx), f32x4.mul(halfY, dy)));
        if (v128.any_true(v128.and(inside, f32x4.le(u, none)))) return false;
        const log2u = log2(u);
        const share = point == 0 ? v128.andnot(one, isFine) : v128.and(quarter, isFine);
        const shape = f32x4.mul(share, exp2(f32x4.max(f32x4.splat(-80), f32x4.mul(minusBeta, log2u))));
        const overU = f32x4.div(one, u);
        const perU = f32x4.mul(f32x4.mul(minusBeta, peak4), f32x4.mul(shape, overU));
        model = f32x4.add(model, shape);
        if (point == 0) {
          const squares = f32x4.add(f32x4.mul(halfX, halfX), f32x4.mul(halfY, halfY));
          const laplacian = f32x4.mul(
            f32x4.mul(beta4, f32x4.mul(shape, f32x4.mul(overU, overU))),
            f32x4.sub(f32x4.mul(fourBeta1, squares), f32x4.mul(u, trace)),
          );
          model = f32x4.add(model, f32x4.mul(laplacian, per24));
        }
        const twice = f32x4.add(perU, perU);
        const byBeta = f32x4.mul(perU, perBeta4);
        slopeX = f32x4.sub(slopeX, f32x4.mul(twice, halfX));
        slopeY = f32x4.sub(slopeY, f32x4.mul(twice, halfY));
        slopeA = f32x4.add(slopeA, f32x4.mul(byBeta, f32x4.mul(dx, dx)));
        slopeB = f32x4.add(slopeB, f32x4.mul(f32x4.add(byBeta, byBeta), f32x4.mul(dx, dy)));
        slopeC = f32x4.add(slopeC, f32x4.mul(byBeta, f32x4.mul(dy, dy)));
        slopePerBeta = f32x4.add(
          slopePerBeta,
          f32x4.mul(
            f32x4.mul(f32x4.mul(peak4, shape), f32x4.mul(beta4, beta4)),
            f32x4.sub(f32x4.mul(ln2, log2u), f32x4.mul(f32x4.sub(u, one), overU)),
          ),
        );
      }
      const weight = v128.and(inside, v128.load(weights + at));
      const residual = v128.and(inside, f32x4.sub(f32x4.sub(value, sky), f32x4.mul(peak4, model)));
      const w0 = f32x4.mul(weight, model);
      const wX = f32x4.mul(weight, slopeX);
      const wY = f32x4.mul(weight, slopeY);
      const wA = f32x4.mul(weight, slopeA);
      const wB = f32x4.mul(weight, slopeB);
      const wC = f32x4.mul(weight, slopeC);
      const wP = f32x4.mul(weight, slopePerBeta);
      add(rows, 0, w0, model);
      add(rows, 1, weight, model);
      add(rows, 2, weight, one);
      add(rows, 3, wX, model);
      add(rows, 4, weight, slopeX);
      add(rows, 5, wX, slopeX);
      add(rows, 6, wY, model);
      add(rows, 7, weight, slopeY);
      add(rows, 8, wY, slopeX);
      add(rows, 9, wY, slopeY);
      add(rows, 10, wA, model);
      add(rows, 11, weight, slopeA);
      add(rows, 12, wA, slopeX);
      add(rows, 13, wA, slopeY);
      add(rows, 14, wA, slopeA);
      add(rows, 15, wB, model);
      add(rows, 16, weight, slopeB);
      add(rows, 17, wB, slopeX);
      add(rows, 18, wB, slopeY);
      add(rows, 19, wB, slopeA);
      add(rows, 20, wB, slopeB);
      add(rows, 21, wC, model);
      add(rows, 22, weight, slopeC);
      add(rows, 23, wC, slopeX);
      add(rows, 24, wC, slopeY);
      add(rows, 25, wC, slopeA);
      add(rows, 26, wC, slopeB);
      add(rows, 27, wC, slopeC);
      add(rows, 28, wP, model);
      add(rows, 29, weight, slopePerBeta);
      add(rows, 30, wP, slopeX);
      add(rows, 31, wP, slopeY);
      add(rows, 32, wP, slopeA);
      add(rows, 33, wP, slopeB);
      add(rows, 34, wP, slopeC);
      add(rows, 35, wP, slopePerBeta);
      const weighted = f32x4.mul(weight, residual);
      add(rows, 36, weighted, model);
      add(rows, 37, weighted, one);
      add(rows, 38, weighted, slopeX);
      add(rows, 39, weighted, slopeY);
      add(rows, 40, weighted, slopeA);
      add(rows, 41, weighted, slopeB);
      add(rows, 42, weighted, slopeC);
      add(rows, 43, weighted, slopePerBeta);
      add(rows, 44, weighted, residual);
    }
  }
  let k = 0;
  for (let i = 0; i < 8; i++)
    for (let j = 0; j <= i; j++) {
      store<f64>(into + ((<usize>(i * 8 + j)) << 3), sumOf(v128.load(rows + ((<usize>k) << 4))));
      k++;
    }
  for (let i = 0; i < 9; i++)
    store<f64>(into + ((<usize>(64 + i)) << 3), sumOf(v128.load(rows + ((<usize>(36 + i)) << 4))));
  return true;
}

@inline
function add(rows: usize, k: usize, x: v128, y: v128): void {
  v128.store(rows + (k << 4), f32x4.add(v128.load(rows + (k << 4)), f32x4.mul(x, y)));
}
