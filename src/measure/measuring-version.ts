/**
 * Version of the measuring. Remembered measurements of another version are not used, so whoever changes what measuring,
 * matching or the reading of pixels gives (even in the last digit) or what is remembered of a sub raises this by one.
 * What headers are taken to say is remembered per version of nightyield and needs no raise in a release; while developing,
 * `--store none` measures without remembering.
 */
export const measuringVersion = 6;
