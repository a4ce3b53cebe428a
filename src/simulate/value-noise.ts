/** A number in [0, 1) that belongs to a point of a whole-number grid. */
function atNode(seed: number, x: number, y: number): number {
  let h = Math.imul(seed ^ 0x9e3779b9, 0x85ebca6b) ^ Math.imul(x | 0, 0xc2b2ae35) ^ Math.imul(y | 0, 0x27d4eb2f);
  h = Math.imul(h ^ (h >>> 15), 0x2c1b3c6d);
  h = Math.imul(h ^ (h >>> 12), 0x297a2d39);
  return ((h ^ (h >>> 15)) >>> 0) * 2.3283064365386963e-10;
}

/** Random numbers on a grid of width 1, smooth between its points: 0 to 1, mean 0.5. The same for one seed and place. */
export function valueNoise(seed: number, x: number, y: number): number {
  const [i, j] = [Math.floor(x), Math.floor(y)];
  const [u, v] = [x - i, y - j];
  const [a, b] = [u * u * (3 - 2 * u), v * v * (3 - 2 * v)];
  const low = atNode(seed, i, j) * (1 - a) + atNode(seed, i + 1, j) * a;
  const high = atNode(seed, i, j + 1) * (1 - a) + atNode(seed, i + 1, j + 1) * a;
  return low * (1 - b) + high * b;
}

/** The sum of such noise at several scales, each half as wide and half as strong as the one before: 0 to 1, mean 0.5. */
export function cloudyNoise(seed: number, x: number, y: number, octaves: number): number {
  let sum = 0;
  let weight = 0;
  let share = 1;
  let scale = 1;
  for (let octave = 0; octave < octaves; octave++) {
    sum += share * valueNoise(seed + octave * 101, x * scale, y * scale);
    weight += share;
    share /= 2;
    scale *= 2;
  }
  return sum / weight;
}
