import { invertPositive } from "./cholesky.js";
import { correlation } from "./rank.js";

/**
 * Variance inflation factors, 1 / (1 - R^2) of each column on the others: how many times larger the variance of its
 * coefficient is than with uncorrelated columns. Above 5 is a warning; above 10 no separate effect should be claimed.
 * @param columns - finite values; a column that does not vary gets NaN and is left out of the others' factors
 * @returns one a column; infinite where a column is a combination of others
 */
export function varianceInflation(columns: readonly ArrayLike<number>[]): Float64Array {
  const result = new Float64Array(columns.length).fill(Number.NaN);
  const varying = columns.flatMap((c, i) => (Number.isNaN(correlation(c, c)) ? [] : [i]));
  const size = varying.length;
  const matrix = new Float64Array(size * size);
  for (let i = 0; i < size; i++)
    for (let j = 0; j <= i; j++) {
      matrix[i * size + j] = i === j ? 1 : correlation(columns[varying[i]], columns[varying[j]]);
      matrix[j * size + i] = matrix[i * size + j];
    }
  // One exact combination must not hide what the sound columns are worth: a trace on the diagonal lets the inverse exist,
  // and inflates only those that take part.
  const solved = invertPositive(matrix, size) ?? invertPositive(ridged(matrix, size), size);
  varying.forEach((column, i) => {
    const factor = solved === null ? Number.POSITIVE_INFINITY : solved.inverse[i * size + i];
    result[column] = factor > 1e8 ? Number.POSITIVE_INFINITY : factor;
  });
  return result;
}

const ridged = (matrix: Float64Array, size: number) => matrix.map((v, at) => (at % (size + 1) === 0 ? v + 1e-10 : v));
