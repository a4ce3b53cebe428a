declare const unit: unique symbol;

/** An angle in degrees; branded because degrees and radians get swapped. */
export type Degrees = number & { readonly [unit]: "deg" };
/** An angle in radians. */
export type Radians = number & { readonly [unit]: "rad" };

export const degrees = (n: number): Degrees => n as Degrees;
export const toRadians = (d: Degrees | number): Radians => ((d * Math.PI) / 180) as Radians;
export const toDegrees = (r: Radians | number): Degrees => ((r * 180) / Math.PI) as Degrees;

/**
 * Units of the frame table, spelled as the ECSV format and astropy spell them,
 * with the short form that people read.
 */
export const units = {
  s: "s",
  deg_C: "°C",
  pix: "px",
  arcsec: "″",
  "arcsec / pix": "″/px",
  adu: "ADU",
  deg: "°",
  "deg / h": "°/h",
  "mag / arcsec2": "mag/″²",
  "": "",
} as const;
export type Unit = keyof typeof units;
