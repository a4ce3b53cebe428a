/** What is left of a symmetric positive definite matrix after solving it once. */
export interface Inverse {
  /** Row after row. */
  readonly inverse: Float64Array;
  readonly logDeterminant: number;
}

/**
 * Inverse and determinant of a symmetric positive definite matrix by Cholesky's factors.
 * @param matrix - size x size, row after row; only the lower triangle is read
 * @returns null when the matrix is not positive definite to working accuracy
 */
export function invertPositive(matrix: ArrayLike<number>, size: number): Inverse | null {
  const l = new Float64Array(size * size);
  let logDeterminant = 0;
  for (let i = 0; i < size; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = matrix[i * size + j];
      for (let k = 0; k < j; k++) sum -= l[i * size + k] * l[j * size + k];
      if (i > j) l[i * size + j] = sum / l[j * size + j];
      else if (!(sum > 1e-14 * matrix[i * size + i])) return null;
      else {
        l[i * size + i] = Math.sqrt(sum);
        logDeterminant += Math.log(sum);
      }
    }
  }
  // The inverse of the factor, in place below the diagonal, then its square.
  const w = new Float64Array(size * size);
  for (let j = 0; j < size; j++) {
    w[j * size + j] = 1 / l[j * size + j];
    for (let i = j + 1; i < size; i++) {
      let sum = 0;
      for (let k = j; k < i; k++) sum -= l[i * size + k] * w[k * size + j];
      w[i * size + j] = sum / l[i * size + i];
    }
  }
  const inverse = new Float64Array(size * size);
  for (let i = 0; i < size; i++)
    for (let j = 0; j <= i; j++) {
      let sum = 0;
      for (let k = i; k < size; k++) sum += w[k * size + i] * w[k * size + j];
      inverse[i * size + j] = sum;
      inverse[j * size + i] = sum;
    }
  return { inverse, logDeterminant };
}
