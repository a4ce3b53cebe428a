import {
  steadyAngleDeg,
  steadyCosDeg,
  steadyExp,
  steadyLog,
  steadyPow10,
  steadySinDeg,
} from "../numbers/steady-math.js";
import type { TargetTerms } from "./scenario-shape.js";
import { cloudyNoise } from "./value-noise.js";

/** Surface brightness of an object on a square map around the target, north up, east left. */
export interface GlowMap {
  /** `line`: rayleigh; `continuum`: multiples of V = 0 mag/arcsec2. */
  readonly unit: "line" | "continuum";
  readonly side: number;
  readonly arcsecPerCell: number;
  readonly values: Float32Array;
  readonly colour: readonly [number, number, number];
}

/** The object's own light; null when it has none. */
export function glowMap(seed: number, { glow }: TargetTerms): GlowMap | null {
  if (glow.kind === "none") return null;
  const sizeArcsec = glow.sizeArcmin * 60;
  const nebula = glow.kind === "nebula";
  const side = nebula ? 240 : 400;
  const arcsecPerCell = (sizeArcsec * (nebula ? 1.8 : 1.3)) / side;
  const values = new Float32Array(side * side);
  const [c, s] = nebula ? [1, 0] : [steadyCosDeg(glow.angleDeg), steadySinDeg(glow.angleDeg)];
  for (let j = 0; j < side; j++)
    for (let i = 0; i < side; i++) {
      // Cell (0, 0) is south-east: x runs to the west, y to the north.
      const west = ((i + 0.5 - side / 2) * arcsecPerCell) / sizeArcsec;
      const north = ((j + 0.5 - side / 2) * arcsecPerCell) / sizeArcsec;
      values[j * side + i] = nebula
        ? nebulaAt(seed, west, north, glow.peakRayleigh, glow.contrast)
        : galaxyAt(north * c - west * s, (west * c + north * s) / glow.axisRatio, glow.centreMagArcsec2);
    }
  const colour = nebula ? ([1.6, 0.25, 0.35] as const) : ([1.05, 1, 0.85] as const);
  return { unit: nebula ? "line" : "continuum", side, arcsecPerCell, values, colour };
}

/** Glow of about the size's width, with knots and dark lanes; coordinates in sizes. */
function nebulaAt(seed: number, x: number, y: number, peak: number, contrast: number): number {
  const round = steadyExp(-5 * (x * x + y * y));
  const bend = cloudyNoise(seed + 7, x * 3, y * 3, 3) - 0.5;
  const knots = cloudyNoise(seed + 1, x * 4 + bend, y * 4 - bend, 5);
  const lanes = cloudyNoise(seed + 2, x * 6 + 2 * bend, y * 3 + bend, 4);
  const bright = 1 - contrast + contrast * 2 * knots;
  const dark = lanes > 0.56 ? 1 - contrast * Math.min(1, (lanes - 0.56) * 9) : 1;
  return peak * round * bright * Math.max(0.05, dark);
}

/** Exponential disk, bulge and two arms; coordinates along and across (made round), in long axes of six scale lengths. */
function galaxyAt(along: number, across: number, centreMag: number): number {
  const scales = 6 * Math.sqrt(along * along + across * across);
  if (scales > 4) return 0;
  const turn = steadyAngleDeg(across, along);
  const arms = scales > 0.4 ? 0.3 * steadyCosDeg(2 * turn - 200 * steadyLog(scales / 0.4)) : 0;
  const fade = scales > 3 ? 4 - scales : 1;
  const disk = steadyExp(-scales) * (1 + arms) * fade;
  return steadyPow10(-0.4 * centreMag) * (disk + 5 * steadyExp(-scales * 6));
}

/** Brightness of a map at a place, arcsec from the target; 0 outside it. */
export function glowAt(map: GlowMap, eastArcsec: number, northArcsec: number): number {
  const { side, values, arcsecPerCell } = map;
  const x = side / 2 - eastArcsec / arcsecPerCell - 0.5;
  const y = side / 2 + northArcsec / arcsecPerCell - 0.5;
  if (!(x >= 0 && y >= 0 && x < side - 1 && y < side - 1)) return 0;
  const [i, j] = [Math.floor(x), Math.floor(y)];
  const [u, v] = [x - i, y - j];
  const at = j * side + i;
  return (
    (values[at]! * (1 - u) + values[at + 1]! * u) * (1 - v) +
    (values[at + side]! * (1 - u) + values[at + side + 1]! * u) * v
  );
}
