import { dialects } from "./dialects.js";
import type { ExposureFacts } from "./exposure-facts.js";
import { bare, type Fact, type Found, factOf, type Look } from "./facts.js";

/** Arcseconds in a radian divided by 1000: micrometres over millimetres. */
const arcsecPerUmPerMm = 206.264806;
/** What optics and sensors can have; anything else, like 0, means that nobody told the camera. */
const possible = {
  focalLengthMm: (mm: number) => mm >= 1 && mm <= 100_000,
  pixelSizeUm: (um: number) => um >= 0.1 && um <= 200,
  scaleArcsec: (arcsec: number) => arcsec >= 0.001 && arcsec <= 3000,
};
/** Scales of one header that differ by more than this fraction are noted. */
const tolerance = 0.02;

/** Binning, pixel size, focal length and the sky angle of a stored pixel, which is given, written, or computed. */
export function scaleFacts(
  look: Look,
): Pick<ExposureFacts, "focalLengthMm" | "pixelSizeUm" | "pixelScaleArcsec" | "binningX" | "binningY"> {
  const both = binningBoth(look);
  const binningX = look.number(dialects.binningX, (n) => n >= 1 && n <= 64) ?? both?.x ?? null;
  const binningY = look.number(dialects.binningY, (n) => n >= 1 && n <= 64) ?? both?.y ?? null;
  const binning = binningX?.value ?? 1;
  const focalLengthMm = look.prefer("focalLengthMm", focalLength(look), "focal length");
  const pixelSizeUm = look.prefer("pixelSizeUm", pixelSize(look, binning), "pixel size");
  const computed: Fact<number> | null =
    focalLengthMm !== null && pixelSizeUm !== null
      ? factOf((arcsecPerUmPerMm * pixelSizeUm.value) / focalLengthMm.value, { derived: "pixel size and focal length" })
      : null;
  const projected = projectedScale(look);
  // A projection can be a rough first guess; a scale that someone wrote down is meant.
  const scales = [...writtenScales(look, binning), projected, computed]
    .filter((scale) => scale !== null)
    .filter(({ value }) => possible.scaleArcsec(value));
  const read = scales[0] ?? null;
  for (const other of scales)
    if (Math.abs(other.value / read!.value - 1) > tolerance)
      look.note(`pixel scale: ${read!.value.toFixed(3)} arcsec, but ${other.value.toFixed(3)} by ${nameOf(other)}`);
  const pixelScaleArcsec = look.prefer("pixelScaleArcsec", read, "pixel scale");
  return { focalLengthMm, pixelSizeUm, pixelScaleArcsec, binningX: bare(binningX), binningY: bare(binningY) };
}

const nameOf = ({ from }: Fact<number>) =>
  "keyword" in from ? from.keyword : "derived" in from ? from.derived : from.given;

function binningBoth(look: Look): { x: Fact<number>; y: Fact<number> } | null {
  const text = look.text(dialects.binningBoth);
  const parts = /^(\d{1,2})(?:\s*[\sx*,]\s*(\d{1,2}))?$/i.exec(text?.value ?? "");
  if (parts === null || Number(parts[1]) < 1) return null;
  return { x: factOf(Number(parts[1]), text!.from), y: factOf(Number(parts[2] ?? parts[1]), text!.from) };
}

/** In mm, unless the comment says metres. */
function focalLength(look: Look): Fact<number> | null {
  const found = look.number(dialects.focalLength, (mm) => mm > 0);
  if (found === null) return null;
  const metres = /\[m\]|\(m\)|\bin m\b|\bmet(?:er|re)s?\b/i.test(found.comment);
  const mm = metres ? found.value * 1000 : found.value;
  if (!possible.focalLengthMm(mm)) return null;
  if (metres) look.note(`${found.keyword} is in metres, as its comment says`);
  return factOf(mm, found.from);
}

function pixelSize(look: Look, binning: number): Fact<number> | null {
  const size = look.number(dialects.pixelSize, possible.pixelSizeUm);
  if (size === null || binning === 1) return bare(size);
  // XPIXSZ is the size after binning where its comment or common practice says so; the others are the sensor's own.
  const after =
    size.keyword === "XPIXSZ"
      ? !/before|unbinned/i.test(size.comment)
      : /after|binned/i.test(size.comment) && !/unbinned/i.test(size.comment);
  look.note(`${size.keyword} is taken as the pixel size ${after ? "after" : "before"} binning`);
  return after ? bare(size) : factOf(size.value * binning, { derived: `${size.keyword} and binning` });
}

/** Scales that cards give, in arcseconds of a stored pixel. */
function writtenScales(look: Look, binning: number): Fact<number>[] {
  return look
    .numbers(dialects.pixelScale, (n) => n > 0)
    .filter(({ comment }) => !/(?:\/|\bper\b)\s*mm\b/i.test(comment))
    .map((scale) => perStoredPixel(scale, binning));
}

function perStoredPixel({ value, from, keyword, comment }: Found<number>, binning: number): Fact<number> {
  const arcsec = /\bdeg(?:rees?)?\b/i.test(comment) && !/arc/i.test(comment) ? value * 3600 : value;
  return /unbinned/i.test(comment) && binning !== 1
    ? factOf(arcsec * binning, { derived: `${keyword} and binning` })
    : factOf(arcsec, from);
}

/** From a solved sky projection; CTYPE must name right ascension (or longitude), else the numbers are no angles. */
function projectedScale(look: Look): Fact<number> | null {
  const axis = look.text(["CTYPE1"]);
  if (axis === null || !/^(?:RA--|DEC-|GLON|GLAT|ELON|ELAT)/.test(axis.value)) return null;
  const value = (keyword: string, otherwise: number) => look.number([keyword])?.value ?? otherwise;
  const arcsec = arcsecIn(look.text(["CUNIT1"])?.value ?? "");
  const determinant = Math.abs(
    value("CD1_1", Number.NaN) * value("CD2_2", Number.NaN) - value("CD1_2", 0) * value("CD2_1", 0),
  );
  if (determinant > 0) return factOf(arcsec * Math.sqrt(determinant), { derived: "sky projection (CD matrix)" });
  const step = arcsec * Math.sqrt(Math.abs(value("CDELT1", Number.NaN) * value("CDELT2", Number.NaN)));
  // 1 in both axes is what an unsolved header has.
  return step > 0 && step < 3600 ? factOf(step, { derived: "sky projection (CDELT)" }) : null;
}

/** Arcseconds in a unit of the projection; degrees unless it says otherwise (FITS Standard 4.0, section 8.2). */
function arcsecIn(unit: string): number {
  if (/^arcsec/i.test(unit)) return 1;
  if (/^arcmin/i.test(unit)) return 60;
  return /^rad/i.test(unit) ? (3600 * 180) / Math.PI : 3600;
}
