import { dialects } from "./dialects.js";
import type { ExposureFacts } from "./exposure-facts.js";
import { type Fact, factOf, type Look } from "./facts.js";

/** Arcseconds in a radian divided by 1000: micrometres over millimetres. */
const arcsecPerUmPerMm = 206.264806;

/** Binning, pixel size, focal length and the sky angle of a stored pixel, which is given, written, or computed. */
export function scaleFacts(
  look: Look,
): Pick<ExposureFacts, "focalLengthMm" | "pixelSizeUm" | "pixelScaleArcsec" | "binningX" | "binningY"> {
  const binningX = look.number(dialects.binningX, (n) => n >= 1 && n <= 64);
  const binningY = look.number(dialects.binningY, (n) => n >= 1 && n <= 64);
  // 0 means that nobody told the camera.
  const focalLengthMm = look.given("focalLengthMm") ?? look.number(dialects.focalLength, (mm) => mm > 0);
  const pixelSizeUm = look.given("pixelSizeUm") ?? pixelSize(look, binningX?.value ?? 1);
  const computed: Fact<number> | null =
    focalLengthMm !== null && pixelSizeUm !== null
      ? factOf((arcsecPerUmPerMm * pixelSizeUm.value) / focalLengthMm.value, { derived: "pixel size and focal length" })
      : null;
  const found = look.number(dialects.pixelScale, (n) => n > 0);
  const written = found ?? unbinnedScale(look, binningX?.value ?? 1);
  const projected = projectedScale(look);
  // A projection can be a rough first guess; a scale that someone wrote down is meant.
  const read = written ?? projected ?? computed;
  for (const other of [projected, computed])
    if (read !== null && other !== null && Math.abs(other.value / read.value - 1) > 0.02)
      look.note(`pixel scale: ${read.value.toFixed(3)} arcsec, but ${other.value.toFixed(3)} by ${nameOf(other)}`);
  const given = look.given("pixelScaleArcsec");
  look.contradicts(given, read, "pixel scale");
  return { focalLengthMm, pixelSizeUm, pixelScaleArcsec: given ?? read, binningX, binningY };
}

const nameOf = ({ from }: Fact<number>) =>
  "keyword" in from ? from.keyword : "derived" in from ? from.derived : from.given;

function pixelSize(look: Look, binning: number): Fact<number> | null {
  const size = look.number(dialects.pixelSize, (um) => um > 0);
  if (size === null || binning === 1) return size;
  // XPIXSZ is the size after binning where its comment or common practice says so; the others are the sensor's own.
  const after =
    size.keyword === "XPIXSZ"
      ? !/before|unbinned/i.test(size.comment)
      : /after|binned/i.test(size.comment) && !/unbinned/i.test(size.comment);
  look.note(`${size.keyword} is taken as the pixel size ${after ? "after" : "before"} binning`);
  return after ? size : factOf(size.value * binning, { derived: `${size.keyword} and binning` });
}

function unbinnedScale(look: Look, binning: number): Fact<number> | null {
  const scale = look.number(["PIXSCAL"], (n) => n > 0);
  if (scale === null) return null;
  return /unbinned/i.test(scale.comment)
    ? factOf(scale.value * binning, { derived: `${scale.keyword} and binning` })
    : scale;
}

/** From a solved sky projection; CTYPE must name right ascension (or longitude), else the numbers are no angles. */
function projectedScale(look: Look): Fact<number> | null {
  const axis = look.text(["CTYPE1"]);
  if (axis === null || !/^(?:RA--|DEC-|GLON|GLAT|ELON|ELAT)/.test(axis.value)) return null;
  const value = (keyword: string) => look.number([keyword])?.value ?? Number.NaN;
  const determinant = Math.abs(
    value("CD1_1") * value("CD2_2") - (look.number(["CD1_2"])?.value ?? 0) * (look.number(["CD2_1"])?.value ?? 0),
  );
  if (determinant > 0) return factOf(3600 * Math.sqrt(determinant), { derived: "sky projection (CD matrix)" });
  const step = Math.sqrt(Math.abs(value("CDELT1") * value("CDELT2")));
  return step > 0 && step < 1 ? factOf(3600 * step, { derived: "sky projection (CDELT)" }) : null;
}
