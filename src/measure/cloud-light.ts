import { invertPositive } from "../numbers/cholesky.js";

/** What came through to a star, the error that noise leaves in it, and where the star stands. */
export interface ThroughStar {
  readonly x: number;
  readonly y: number;
  readonly light: number;
  readonly error: number;
}

interface Field {
  readonly width: number;
  readonly height: number;
}

/**
 * How clouds are alike from place to place: by (1 + r) exp(-r), as ragged ones are (Matern's class with 3/2), or as
 * exp(-r^2 / 2), with r in lengths. All are tried; lengths as shares of the field's diagonal.
 */
const kinds = [
  { length: 0.05, isSmooth: false },
  { length: 0.12, isSmooth: false },
  { length: 0.3, isSmooth: false },
  { length: 0.1, isSmooth: true },
  { length: 0.2, isSmooth: true },
];
/** More stars, those with the most noise, would cost time and tell little. */
const mostStars = 120;
/** The field is looked at in so many places along each side. */
const across = 10;
/** A star as many errors off what all others say is a variable or a wrong pair; so many may be left out. */
const strange = 4;
const mostStrange = 0.2;

/**
 * Mean light over the field behind a patchy cloud. The cloud is taken for a random field (Gaussian) that is seen at the
 * stars' places; the best estimate of its mean over the field follows, and the error that the gaps between the stars
 * leave (kriging of a block: Cressie 1993, sect. 3.2; from memory). Kinds of clouds count by how likely they make what
 * the stars show.
 * @returns null when nothing can be said
 */
export function meanThroughCloud(
  stars: readonly ThroughStar[],
  field: Field,
): { readonly mean: number; readonly error: number } | null {
  const used = [...stars].sort((a, b) => a.error - b.error).slice(0, mostStars);
  const first = modelsOf(used, field);
  if (first.length === 0) return null;
  const best = first.reduce((a, b) => (b.logLikelihood > a.logLikelihood ? b : a));
  const kept = used.filter((_, i) => Math.abs(best.offInErrors[i]!) < strange);
  const changes = kept.length < used.length && kept.length >= (1 - mostStrange) * used.length;
  const models = changes ? modelsOf(kept, field) : first;
  return models.length === 0 ? null : averageOf(models);
}

interface Model {
  readonly mean: number;
  readonly variance: number;
  readonly logLikelihood: number;
  /** What each star is off by from what the others say. */
  readonly offInErrors: Float64Array;
}

/** By likelihood; the error holds what the models differ by. */
function averageOf(models: readonly Model[]): { readonly mean: number; readonly error: number } {
  const most = Math.max(...models.map(({ logLikelihood }) => logLikelihood));
  const shares = models.map(({ logLikelihood }) => Math.exp(logLikelihood - most));
  const sum = shares.reduce((a, b) => a + b, 0);
  const mean = models.reduce((all, model, i) => all + (shares[i]! / sum) * model.mean, 0);
  const variance = models.reduce(
    (all, model, i) => all + (shares[i]! / sum) * (model.variance + (model.mean - mean) ** 2),
    0,
  );
  return { mean, error: Math.sqrt(variance) };
}

function modelsOf(stars: readonly ThroughStar[], field: Field): Model[] {
  const n = stars.length;
  const mean = stars.reduce((sum, { light }) => sum + light, 0) / n;
  const scatter2 = stars.reduce((sum, { light }) => sum + (light - mean) ** 2, 0) / (n - 1);
  const noise2 = stars.reduce((sum, { error }) => sum + error * error, 0) / n;
  const spread2 = Math.max(scatter2 - noise2, scatter2 / 10, 1e-8 * mean * mean);
  const diagonal = Math.sqrt(field.width ** 2 + field.height ** 2);
  return kinds.flatMap(({ length, isSmooth }) => {
    const model = throughField(stars, likenessOf(length * diagonal, isSmooth), spread2, field);
    return model === null ? [] : [model];
  });
}

const likenessOf = (lengthPx: number, isSmooth: boolean) =>
  isSmooth
    ? (dx: number, dy: number) => Math.exp((-0.5 * (dx * dx + dy * dy)) / (lengthPx * lengthPx))
    : (dx: number, dy: number) => {
        const r = (Math.sqrt(3) * Math.sqrt(dx * dx + dy * dy)) / lengthPx;
        return (1 + r) * Math.exp(-r);
      };

/**
 * @param alike - correlation of two places by what lies between them
 * @param spread2 - variance of the light from place to place
 */
function throughField(
  stars: readonly ThroughStar[],
  alike: (dx: number, dy: number) => number,
  spread2: number,
  { width, height }: Field,
): Model | null {
  const n = stars.length;
  const matrix = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    const { x, y, error } = stars[i]!;
    for (let j = 0; j < i; j++) matrix[i * n + j] = spread2 * alike(x - stars[j]!.x, y - stars[j]!.y);
    matrix[i * n + i] = spread2 + error * error;
  }
  const solved = invertPositive(matrix, n);
  if (solved === null) return null;
  const { inverse, logDeterminant } = solved;
  // Covariance of each star's place with the mean over the field, and of that mean with itself.
  const withField = new Float64Array(n);
  let withItself = 0;
  const perPlace = spread2 / (across * across);
  for (let a = 0; a < across; a++)
    for (let b = 0; b < across; b++) {
      const x = ((a + 0.5) / across) * width;
      const y = ((b + 0.5) / across) * height;
      for (let i = 0; i < n; i++) withField[i]! += perPlace * alike(x - stars[i]!.x, y - stars[i]!.y);
      const pairs = (a === 0 ? across : 2 * (across - a)) * (b === 0 ? across : 2 * (across - b));
      withItself += (perPlace * pairs * alike((a / across) * width, (b / across) * height)) / (across * across);
    }
  const ones = product(inverse, new Float64Array(n).fill(1));
  const certainty = sumOf(ones);
  const level =
    dot(
      ones,
      Float64Array.from(stars, ({ light }) => light),
    ) / certainty;
  const off = Float64Array.from(stars, ({ light }) => light - level);
  const solvedOff = product(inverse, off);
  const pull = product(inverse, withField);
  const left = 1 - sumOf(pull);
  return {
    mean: level + dot(withField, solvedOff),
    variance: Math.max(0, withItself - dot(withField, pull) + (left * left) / certainty),
    logLikelihood: -0.5 * (dot(off, solvedOff) + logDeterminant + Math.log(certainty)),
    offInErrors: solvedOff.map((value, i) => value / Math.sqrt(inverse[i * n + i]!)),
  };
}

const sumOf = (values: Float64Array) => values.reduce((sum, value) => sum + value, 0);
const dot = (a: Float64Array, b: Float64Array) => a.reduce((sum, value, i) => sum + value * b[i]!, 0);

function product(matrix: Float64Array, vector: Float64Array): Float64Array {
  const n = vector.length;
  const result = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    let sum = 0;
    for (let j = 0; j < n; j++) sum += matrix[i * n + j]! * vector[j]!;
    result[i] = sum;
  }
  return result;
}
