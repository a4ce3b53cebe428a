const most = 16;
const steps = 1024;

/** Steps of the table for each unit of q. */
export const gaussianPerStep = steps / most;
/** exp(-q/2) for q from 0 to 16 in steps; interpolated linearly it is good to 3e-5. */
export const gaussianTable = Float64Array.from({ length: steps + 2 }, (_, i) => Math.exp(-0.5 * (i / gaussianPerStep)));
