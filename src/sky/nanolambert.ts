// Garstang 1986 eq. 19, as Krisciunas & Schaefer 1991 use it: B = 34.08 exp(20.7233 - 0.92104 V).
const scaleNl = 34.08;
const offset = 20.7233;
const perMag = 0.92104;

/** Surface brightness in nanolamberts from V mag/arcsec2. Light adds in nanolamberts, never in magnitudes. */
export const nanolambertOfMag = (magArcsec2: number): number => scaleNl * Math.exp(offset - perMag * magArcsec2);

/** V mag/arcsec2 from nanolamberts; Infinity for no light at all. */
export const magOfNanolambert = (nanolambert: number): number => (offset - Math.log(nanolambert / scaleNl)) / perMag;

/** Luminance from mag/arcsec2 as sky quality meters convert it: 10.8e4 x 10^(-0.4 m) candela per square metre. */
export const candelaPerM2OfMag = (magArcsec2: number): number => 10.8e4 * 10 ** (-0.4 * magArcsec2);
