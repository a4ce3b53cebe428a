// A star's light summed outwards, and what in it is not the star's.
import { sumsOf } from "./lanes.as";

/**
 * Growth curve; twin: growthCurve, which explains it. `scratch` holds the light by distance, and behind it the densities.
 * `out` receives the radius with half of the light, and all light; the return value tells whether there was light.
 */
export function growth(
  stamp: usize,
  radius: i32,
  x: f64,
  y: f64,
  outer: f64,
  fraction: f64,
  scratch: usize,
  out: usize,
): bool {
  const bins = <i32>Math.ceil(outer * 16);
  const limit = (outer + 0.5) * (outer + 0.5);
  const side = 2 * radius + 1;
  memory.fill(scratch, 0, (<usize>(bins + 32)) << 2);
  const lanes = f32x4(0, 1, 2, 3);
  const sixteen = f32x4.splat(16);
  // What lies outside goes to the last place, which nothing reads.
  const beyond = i32x4.splat(bins + 31);
  const limit4 = f32x4.splat(<f32>limit);
  const none = f32x4.splat(0);
  const toY = min(radius, <i32>Math.floor(y + outer));
  for (let py = max(-radius, <i32>Math.ceil(y - outer)); py <= toY; py++) {
    const dy2 = (<f64>py - y) * (<f64>py - y);
    const reach = Math.sqrt(Math.max(0, limit - dy2));
    const from = max(-radius, <i32>Math.ceil(x - reach));
    const to = min(radius, <i32>Math.floor(x + reach));
    const last = f32x4.splat(<f32>(<f64>to - x + 0.25));
    const inY = f32x4.splat(<f32>dy2);
    let at = stamp + ((<usize>((py + radius) * side + radius + from)) << 2);
    let dx = f32x4.add(f32x4.splat(<f32>(<f64>from - x)), lanes);
    for (let px = from; px <= to; px += 4, at += 16) {
      const value = v128.load(at);
      const distance2 = f32x4.add(f32x4.mul(dx, dx), inY);
      const inside = v128.and(v128.and(f32x4.le(dx, last), f32x4.le(distance2, limit4)), f32x4.eq(value, value));
      const place = i32x4.trunc_sat_f32x4_s(f32x4.mul(f32x4.sqrt(distance2), sixteen));
      const bin = i32x4.min_s(v128.bitselect(place, beyond, inside), beyond);
      const light = v128.and(inside, value);
      addTo(scratch, i32x4.extract_lane(bin, 0), f32x4.extract_lane(light, 0));
      addTo(scratch, i32x4.extract_lane(bin, 1), f32x4.extract_lane(light, 1));
      addTo(scratch, i32x4.extract_lane(bin, 2), f32x4.extract_lane(light, 2));
      addTo(scratch, i32x4.extract_lane(bin, 3), f32x4.extract_lane(light, 3));
      dx = f32x4.add(dx, f32x4.splat(4));
    }
  }
  // The pixel in the middle, nearer than half a pixel, lies evenly from 0 to half a pixel beyond its distance.
  let core: f64 = 0;
  let coreReach = 1;
  for (let k = 0; k < 8; k++) {
    const light = load<f32>(scratch + ((<usize>k) << 2));
    if (light != 0) coreReach = k + 8;
    core += <f64>light;
  }
  v128.store(scratch, none);
  v128.store(scratch, none, 16);
  const coreDensity = (core * 16) / <f64>coreReach;
  const densities = scratch + ((<usize>(bins + 32)) << 2);
  let window: f64 = 0;
  let total: f64 = 0;
  for (let k = 0; k < bins; k++) {
    const at = scratch + ((<usize>k) << 2);
    const density = window + (k < coreReach ? coreDensity : 0);
    store<f64>(densities + ((<usize>k) << 3), density);
    total += density;
    window += <f64>load<f32>(at, 32);
    if (k >= 8) window -= <f64>load<f32>(at - 32);
  }
  if (!(total > 0)) return false;
  const target = total / (2 * fraction);
  let sum: f64 = 0;
  let half: f64 = NaN;
  for (let k = 0; k < bins; k++) {
    const density = load<f64>(densities + ((<usize>k) << 3));
    if (sum + density >= target) {
      half = (<f64>k - 0.5 + (target - sum) / density) / 16;
      break;
    }
    sum += density;
  }
  store<f64>(out, half);
  store<f64>(out, total / 16, 8);
  return true;
}

@inline
function addTo(profile: usize, bin: i32, light: f32): void {
  const at = profile + ((<usize>bin) << 2);
  store<f32>(at, load<f32>(at) + light);
}

/**
 * Light that does not come from the star; twin: foreignLight, which explains it. `out` receives what is much brighter
 * than its mirror pixel, the light around the aperture, and the number of pixels there.
 */
export function foreign(stamp: usize, radius: i32, x: f64, y: f64, outer: f64, sigma: f64, out: usize): void {
  const side = 2 * radius + 1;
  // As Math.round does: halves go up.
  const mirrorX = <i32>Math.floor(2 * x + 0.5);
  const mirrorY = <i32>Math.floor(2 * y + 0.5);
  const lanes = f32x4(0, 1, 2, 3);
  const core2 = f32x4.splat(<f32>((outer * outer) / 9));
  const outer2 = f32x4.splat(<f32>(outer * outer));
  const most = f32x4.splat(<f32>(3 * sigma));
  const least = f32x4.neg(most);
  const clearly = f32x4.splat(<f32>(5 * sigma));
  const last = f32x4.splat(<f32>(<f64>radius - x + 0.25));
  const none = f32x4.splat(0);
  const one = f32x4.splat(1);
  // The mirror of column px lies at mirrorX - px.
  const mirrorLast = f32x4.splat(<f32>min(radius, mirrorX + radius));
  const mirrorFirst = f32x4.splat(<f32>max(-radius, mirrorX - radius));
  let more = none;
  let around = none;
  let pixels = none;
  for (let py = -radius; py <= radius; py++) {
    const dy = <f64>py - y;
    const inY = f32x4.splat(<f32>(dy * dy));
    const otherY = mirrorY - py;
    const hasMirror = otherY >= -radius && otherY <= radius;
    let at = stamp + ((<usize>((py + radius) * side)) << 2);
    let mirror = stamp + ((<usize>((otherY + radius) * side + mirrorX + radius + radius - 3)) << 2);
    let dx = f32x4.add(f32x4.splat(<f32>(<f64>-radius - x)), lanes);
    let column = f32x4.add(f32x4.splat(<f32>-radius), lanes);
    for (let px = -radius; px <= radius; px += 4) {
      const value = v128.load(at);
      const distance2 = f32x4.add(f32x4.mul(dx, dx), inY);
      const counts = v128.and(v128.and(f32x4.le(dx, last), f32x4.ge(distance2, core2)), f32x4.eq(value, value));
      const outside = v128.and(counts, f32x4.gt(distance2, outer2));
      around = f32x4.add(around, v128.and(outside, f32x4.max(least, f32x4.min(most, value))));
      pixels = f32x4.add(pixels, v128.and(outside, one));
      const ring = v128.andnot(counts, outside);
      if (hasMirror && v128.any_true(ring)) {
        const there = v128.load(mirror);
        const other = v128.shuffle<f32>(there, there, 3, 2, 1, 0);
        const known = v128.and(f32x4.ge(column, mirrorFirst), f32x4.le(column, mirrorLast));
        const brighter = f32x4.gt(value, f32x4.add(twice(f32x4.max(none, other)), clearly));
        more = f32x4.add(more, v128.and(v128.and(ring, v128.and(known, brighter)), f32x4.sub(value, other)));
      }
      at += 16;
      mirror -= 16;
      dx = f32x4.add(dx, f32x4.splat(4));
      column = f32x4.add(column, f32x4.splat(4));
    }
  }
  const both = sumsOf(more, around, pixels, none);
  store<f64>(out, <f64>f32x4.extract_lane(both, 0));
  store<f64>(out, <f64>f32x4.extract_lane(both, 1), 8);
  store<f64>(out, <f64>f32x4.extract_lane(both, 2), 16);
}

@inline
function twice(v: v128): v128 {
  return f32x4.add(v, v);
}
