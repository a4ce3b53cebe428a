// A star's light summed outwards, and what in it is not the star's.
import { sumsOf } from "./lanes.as";

/**
 * Growth curve; twin: growthCurve, which explains it. `scratch` holds the light by distance; `out` receives the radius
 * with half of the light, and all light; the return value tells whether there was light. Sorting pixels by distance takes
 * longest, so this is done for the inner ones first, which nearly always hold half of the light.
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
  const inner = (bins * 9) / 32 + 24;
  memory.fill(scratch, 0, (<usize>(bins + 32)) << 2);
  const total = sortByDistance(stamp, radius, x, y, outer, bins, inner, scratch);
  if (!(total > 0)) return false;
  const target = total / (2 * fraction);
  let half = halfRadius(scratch, min(bins, inner - 8), target);
  if (half != half) {
    sortBeyond(stamp, radius, x, y, outer, bins, inner, scratch);
    half = halfRadius(scratch, bins, target);
  }
  store<f64>(out, half);
  store<f64>(out, total / 16, 8);
  return true;
}

/**
 * Sums pixels by their distance in sixteenths of a pixel, as far as `sorted` bins; bins + 16 hold them all. Returns 16
 * times the light of all pixels within `outer`: a pixel counts from half a pixel within its distance to half beyond.
 */
function sortByDistance(
  stamp: usize,
  radius: i32,
  x: f64,
  y: f64,
  outer: f64,
  bins: i32,
  sorted: i32,
  profile: usize,
): f64 {
  const limit = (outer + 0.5) * (outer + 0.5);
  const side = 2 * radius + 1;
  const lanes = f32x4(0, 1, 2, 3);
  const sixteen = f32x4.splat(16);
  const sorted4 = i32x4.splat(sorted);
  const sorted2 = f32x4.splat(<f32>(<f64>(sorted * sorted) / 256));
  // What lies outside goes to places that nothing reads, one for each lane.
  const beyond = i32x4.add(i32x4.splat(bins + 24), i32x4(0, 1, 2, 3));
  const limit4 = f32x4.splat(<f32>limit);
  const end = f32x4.splat(<f32>(bins + 7));
  // Nearer than this, pixels lie within `outer` with all of their light.
  const whole = <f64>max(0, bins - 9) / 16;
  const whole2 = f32x4.splat(<f32>(whole * whole));
  const none = f32x4.splat(0);
  const four = f32x4.splat(4);
  let total = f64x2.splat(0);
  const from = max(-radius, <i32>Math.ceil(x - outer - 0.5));
  const to = min(radius, <i32>Math.floor(x + outer + 0.5));
  const last = f32x4.splat(<f32>(<f64>to - x + 0.25));
  const firstDx = f32x4.add(f32x4.splat(<f32>(<f64>from - x)), lanes);
  const toY = min(radius, <i32>Math.floor(y + outer));
  for (let py = max(-radius, <i32>Math.ceil(y - outer)); py <= toY; py++) {
    const inY = f32x4.splat(<f32>((<f64>py - y) * (<f64>py - y)));
    let at = stamp + ((<usize>((py + radius) * side + radius + from)) << 2);
    let dx = firstDx;
    let ofRow = none;
    for (let px = from; px <= to; px += 4, at += 16) {
      const value = v128.load(at);
      const distance2 = f32x4.add(f32x4.mul(dx, dx), inY);
      const near = f32x4.lt(distance2, sorted2);
      if (!v128.any_true(v128.or(near, f32x4.gt(distance2, whole2)))) {
        ofRow = f32x4.add(ofRow, v128.and(f32x4.eq(value, value), f32x4.mul(value, sixteen)));
        dx = f32x4.add(dx, four);
        continue;
      }
      const inside = v128.and(v128.and(f32x4.le(dx, last), f32x4.le(distance2, limit4)), f32x4.eq(value, value));
      const light = v128.and(inside, value);
      const distance = f32x4.mul(f32x4.sqrt(distance2), sixteen);
      const share = f32x4.pmin(sixteen, f32x4.pmax(none, f32x4.sub(end, f32x4.floor(distance))));
      ofRow = f32x4.add(ofRow, f32x4.mul(light, share));
      dx = f32x4.add(dx, four);
      if (!v128.any_true(near)) continue;
      const place = i32x4.min_s(i32x4.trunc_sat_f32x4_s(distance), sorted4);
      const bin = v128.bitselect(place, beyond, v128.and(inside, near));
      addTo(profile, i32x4.extract_lane(bin, 0), f32x4.extract_lane(light, 0));
      addTo(profile, i32x4.extract_lane(bin, 1), f32x4.extract_lane(light, 1));
      addTo(profile, i32x4.extract_lane(bin, 2), f32x4.extract_lane(light, 2));
      addTo(profile, i32x4.extract_lane(bin, 3), f32x4.extract_lane(light, 3));
    }
    total = f64x2.add(total, f64x2.promote_low_f32x4(ofRow));
    total = f64x2.add(total, f64x2.promote_low_f32x4(v128.shuffle<f32>(ofRow, ofRow, 2, 3, 2, 3)));
  }
  return f64x2.extract_lane(total, 0) + f64x2.extract_lane(total, 1);
}

/** Sorts what `sortByDistance` left: pixels from `sorted` bins on. */
function sortBeyond(
  stamp: usize,
  radius: i32,
  x: f64,
  y: f64,
  outer: f64,
  bins: i32,
  sorted: i32,
  profile: usize,
): void {
  const side = 2 * radius + 1;
  const sixteen = f32x4.splat(16);
  const sorted2 = f32x4.splat(<f32>(<f64>(sorted * sorted) / 256));
  const beyond = i32x4.add(i32x4.splat(bins + 24), i32x4(0, 1, 2, 3));
  const limit = f32x4.splat(<f32>((outer + 0.5) * (outer + 0.5)));
  const four = f32x4.splat(4);
  const from = max(-radius, <i32>Math.ceil(x - outer - 0.5));
  const to = min(radius, <i32>Math.floor(x + outer + 0.5));
  const last = f32x4.splat(<f32>(<f64>to - x + 0.25));
  const firstDx = f32x4.add(f32x4.splat(<f32>(<f64>from - x)), f32x4(0, 1, 2, 3));
  const toY = min(radius, <i32>Math.floor(y + outer));
  for (let py = max(-radius, <i32>Math.ceil(y - outer)); py <= toY; py++) {
    const inY = f32x4.splat(<f32>((<f64>py - y) * (<f64>py - y)));
    let at = stamp + ((<usize>((py + radius) * side + radius + from)) << 2);
    let dx = firstDx;
    for (let px = from; px <= to; px += 4, at += 16) {
      const value = v128.load(at);
      const distance2 = f32x4.add(f32x4.mul(dx, dx), inY);
      const within = v128.and(f32x4.ge(distance2, sorted2), f32x4.le(distance2, limit));
      const counts = v128.and(v128.and(within, f32x4.le(dx, last)), f32x4.eq(value, value));
      dx = f32x4.add(dx, four);
      if (!v128.any_true(counts)) continue;
      const light = v128.and(counts, value);
      const place = i32x4.trunc_sat_f32x4_s(f32x4.mul(f32x4.sqrt(distance2), sixteen));
      const bin = v128.bitselect(place, beyond, counts);
      addTo(profile, i32x4.extract_lane(bin, 0), f32x4.extract_lane(light, 0));
      addTo(profile, i32x4.extract_lane(bin, 1), f32x4.extract_lane(light, 1));
      addTo(profile, i32x4.extract_lane(bin, 2), f32x4.extract_lane(light, 2));
      addTo(profile, i32x4.extract_lane(bin, 3), f32x4.extract_lane(light, 3));
    }
  }
}

/** The radius within which the sorted light reaches a target (16 times what is wanted); NaN when `bins` do not hold it. */
function halfRadius(profile: usize, bins: i32, target: f64): f64 {
  // The pixel in the middle, nearer than half a pixel, lies evenly from 0 to half a pixel beyond its distance; the window leaves it out.
  let core: f64 = 0;
  let coreReach = 1;
  for (let k = 0; k < 8; k++) {
    const light = load<f32>(profile + ((<usize>k) << 2));
    if (light != 0) coreReach = k + 8;
    core += <f64>light;
  }
  const coreDensity = (core * 16) / <f64>coreReach;
  let window: f64 = 0;
  let sum: f64 = 0;
  for (let k = 0; k < bins; k++) {
    const at = profile + ((<usize>k) << 2);
    const density = window + (k < coreReach ? coreDensity : 0);
    if (sum + density >= target) return (<f64>k - 0.5 + (target - sum) / density) / 16;
    sum += density;
    const left = k >= 16 ? load<f32>(at - 32) : 0;
    window += <f64>load<f32>(at, 32) - <f64>left;
  }
  return NaN;
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
  const four = f32x4.splat(4);
  // The mirror of column px lies at mirrorX - px.
  const mirrorLast = f32x4.splat(<f32>min(radius, mirrorX + radius));
  const mirrorFirst = f32x4.splat(<f32>max(-radius, mirrorX - radius));
  let more = none;
  let around = none;
  let pixels = none;
  const firstDx = f32x4.add(f32x4.splat(<f32>(<f64>-radius - x)), lanes);
  for (let py = -radius; py <= radius; py++) {
    const dy = <f64>py - y;
    const inY = f32x4.splat(<f32>(dy * dy));
    const row = stamp + ((<usize>((py + radius) * side)) << 2);
    let at = row;
    let dx = firstDx;
    // In most rows nothing within the aperture stands out so clearly that its mirror pixel is asked.
    let doubtful = none;
    for (let px = -radius; px <= radius; px += 4, at += 16) {
      const value = v128.load(at);
      const distance2 = f32x4.add(f32x4.mul(dx, dx), inY);
      const counts = v128.and(f32x4.le(dx, last), f32x4.eq(value, value));
      const beyond = f32x4.gt(distance2, outer2);
      const outside = v128.and(counts, beyond);
      around = f32x4.add(around, v128.and(outside, f32x4.max(least, f32x4.min(most, value))));
      pixels = f32x4.add(pixels, v128.and(outside, one));
      const ring = v128.andnot(v128.and(counts, f32x4.ge(distance2, core2)), beyond);
      doubtful = v128.or(doubtful, v128.and(ring, f32x4.gt(value, clearly)));
      dx = f32x4.add(dx, four);
    }
    const otherY = mirrorY - py;
    if (otherY < -radius || otherY > radius || !v128.any_true(doubtful)) continue;
    at = row;
    dx = firstDx;
    let mirror = stamp + ((<usize>((otherY + radius) * side + mirrorX + radius + radius - 3)) << 2);
    let column = f32x4.add(f32x4.splat(<f32>-radius), lanes);
    for (let px = -radius; px <= radius; px += 4, at += 16, mirror -= 16) {
      const value = v128.load(at);
      const distance2 = f32x4.add(f32x4.mul(dx, dx), inY);
      const within = v128.and(f32x4.ge(distance2, core2), f32x4.le(distance2, outer2));
      const ring = v128.and(v128.and(within, f32x4.le(dx, last)), f32x4.gt(value, clearly));
      const there = v128.load(mirror);
      const other = v128.shuffle<f32>(there, there, 3, 2, 1, 0);
      const known = v128.and(f32x4.ge(column, mirrorFirst), f32x4.le(column, mirrorLast));
      const brighter = f32x4.gt(value, f32x4.add(twice(f32x4.max(none, other)), clearly));
      more = f32x4.add(more, v128.and(v128.and(ring, v128.and(known, brighter)), f32x4.sub(value, other)));
      dx = f32x4.add(dx, four);
      column = f32x4.add(column, four);
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
