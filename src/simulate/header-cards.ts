import { formatSexagesimal } from "../read/angles.js";
import type { WriteCard } from "./fits-writer.js";
import type { FramePlan } from "./frame-plan.js";
import type { Scenario } from "./scenario-shape.js";
import { pixelScaleOf } from "./sky-model.js";

/** What kind of exposure a header speaks of, and what differs from the plan. */
export interface Described {
  readonly kind: "light" | "dark" | "flat";
  readonly exposureS: number;
}

type Dialect = (scenario: Scenario, plan: FramePlan, described: Described) => WriteCard[];

/** What headers say, in the three habits that scenarios know. */
export function headerCards(scenario: Scenario, plan: FramePlan, described: Described): WriteCard[] {
  return dialects[plan.header.dialect](scenario, plan, described);
}

/** Start of the exposure as `YYYY-MM-DDThh:mm:ss.sss`. */
const isoStart = (plan: FramePlan) => new Date(Math.round(plan.startMs)).toISOString().slice(0, 23);
const lightOnly = (described: Described, cards: WriteCard[]) => (described.kind === "light" ? cards : []);
const hours = (raDeg: number) => formatSexagesimal(raDeg / 15, 1).replace("+", "");

/** As a small camera in a garden writes: start time in one card, Celsius, sexagesimal text with blanks, site in text. */
const garden: Dialect = ({ site, telescope, camera }, plan, described) => [
  { keyword: "IMAGETYP", value: { light: "Light Frame", dark: "Dark Frame", flat: "Flat Field" }[described.kind] },
  { keyword: "EXPTIME", value: described.exposureS, decimals: 3, comment: "[s] exposure time" },
  { keyword: "DATE-OBS", value: isoStart(plan), comment: "UTC at start of exposure" },
  ...lightOnly(described, [
    { keyword: "OBJECT", value: plan.target },
    { keyword: "OBJCTRA", value: hours(plan.targetTerms.raDeg), comment: "[h m s]" },
    { keyword: "OBJCTDEC", value: formatSexagesimal(plan.targetTerms.decDeg, 1), comment: "[d m s]" },
  ]),
  ...(described.kind === "dark" ? [] : [{ keyword: "FILTER", value: plan.filter }]),
  { keyword: "INSTRUME", value: camera.name },
  { keyword: "TELESCOP", value: telescope.name },
  { keyword: "FOCALLEN", value: telescope.focalLengthMm, decimals: 1, comment: "[mm]" },
  { keyword: "APTDIA", value: telescope.apertureMm, decimals: 1, comment: "[mm]" },
  { keyword: "XPIXSZ", value: camera.pixelSizeUm, decimals: 2, comment: "[um]" },
  { keyword: "YPIXSZ", value: camera.pixelSizeUm, decimals: 2, comment: "[um]" },
  { keyword: "XBINNING", value: 1 },
  { keyword: "YBINNING", value: 1 },
  { keyword: "GAIN", value: camera.gainSetting, comment: "gain setting of the camera" },
  { keyword: "EGAIN", value: camera.electronsPerAdu, decimals: 4, comment: "[e-/ADU]" },
  { keyword: "RDNOISE", value: camera.readNoiseE, decimals: 2, comment: "[e-]" },
  { keyword: "OFFSET", value: camera.offsetAdu },
  { keyword: "CCD-TEMP", value: plan.sensorC, decimals: 1, comment: "[deg C] sensor" },
  ...(camera.coolingC === null
    ? []
    : [{ keyword: "SET-TEMP", value: camera.coolingC, decimals: 1, comment: "[deg C] set point" }]),
  { keyword: "AMBTEMP", value: plan.airC, decimals: 1, comment: "[deg C] air" },
  ...(camera.bayer === ""
    ? []
    : [
        { keyword: "BAYERPAT", value: camera.bayer, comment: "first stored row first" },
        { keyword: "XBAYROFF", value: 0 },
        { keyword: "YBAYROFF", value: 0 },
        { keyword: "ROWORDER", value: "TOP-DOWN" },
      ]),
  { keyword: "SITELAT", value: formatSexagesimal(site.latitudeDeg, 0), comment: "[d m s] north positive" },
  { keyword: "SITELONG", value: formatSexagesimal(site.longitudeDeg, 0), comment: "[d m s] east positive" },
  { keyword: "SITEELEV", value: site.heightM, decimals: 0, comment: "[m]" },
  ...(plan.header.observer.trim() === "" ? [] : [{ keyword: "OBSERVER", value: plan.header.observer }]),
];

/** As an observatory writes, after the standard's own keywords: kelvin, decimal degrees, geodetic site, gain in e-/ADU. */
const observatory: Dialect = ({ site, telescope, camera }, plan, described) => [
  { keyword: "OBSTYPE", value: { light: "object", dark: "dark", flat: "flat" }[described.kind] },
  { keyword: "TIMESYS", value: "UTC" },
  { keyword: "DATE-BEG", value: isoStart(plan), comment: "start of exposure" },
  { keyword: "XPOSURE", value: described.exposureS, decimals: 3, comment: "[s]" },
  ...lightOnly(described, [
    { keyword: "OBJECT", value: plan.target },
    { keyword: "RA", value: plan.targetTerms.raDeg, decimals: 6, comment: "[deg] J2000" },
    { keyword: "DEC", value: plan.targetTerms.decDeg, decimals: 6, comment: "[deg] J2000" },
    { keyword: "RADESYS", value: "ICRS" },
  ]),
  ...(described.kind === "dark" ? [] : [{ keyword: "FILTER", value: plan.filter }]),
  { keyword: "INSTRUME", value: camera.name },
  { keyword: "TELESCOP", value: telescope.name },
  {
    keyword: "PIXSCALE",
    value: pixelScaleOf(telescope, camera),
    decimals: 4,
    comment: "[arcsec/px]",
  },
  { keyword: "GAIN", value: camera.electronsPerAdu, decimals: 4, comment: "[e-/ADU]" },
  { keyword: "RDNOISE", value: camera.readNoiseE, decimals: 2, comment: "[e-]" },
  { keyword: "SATURATE", value: saturationAdu(camera), comment: "[ADU]" },
  { keyword: "DET-TEMP", value: plan.sensorC + 273.15, decimals: 2, comment: "[K] detector" },
  { keyword: "AMBTEMP", value: plan.airC, decimals: 1, comment: "[deg C] air" },
  ...(camera.bayer === "" ? [] : [{ keyword: "BAYERPAT", value: camera.bayer }]),
  { keyword: "OBSGEO-B", value: site.latitudeDeg, decimals: 5, comment: "[deg] geodetic latitude" },
  { keyword: "OBSGEO-L", value: site.longitudeDeg, decimals: 5, comment: "[deg] east positive" },
  { keyword: "OBSGEO-H", value: site.heightM, decimals: 1, comment: "[m]" },
  ...(plan.header.observer.trim() === "" ? [] : [{ keyword: "OBSERVER", value: plan.header.observer }]),
];

/** As older capture software writes: date and time apart, few cards, temperature without a unit. */
const terse: Dialect = ({ site, telescope, camera }, plan, described) => [
  { keyword: "FRAME", value: { light: "Light", dark: "Dark", flat: "Flat" }[described.kind] },
  { keyword: "DATE-OBS", value: isoStart(plan).slice(0, 10) },
  { keyword: "TIME-OBS", value: isoStart(plan).slice(11), comment: "UT" },
  { keyword: "EXPOSURE", value: described.exposureS, decimals: 2, comment: "seconds" },
  ...lightOnly(described, [
    { keyword: "OBJECT", value: plan.target },
    { keyword: "RA", value: hours(plan.targetTerms.raDeg).replaceAll(" ", ":") },
    { keyword: "DEC", value: formatSexagesimal(plan.targetTerms.decDeg, 1).replaceAll(" ", ":") },
  ]),
  ...(described.kind === "dark" ? [] : [{ keyword: "FILTER", value: plan.filter }]),
  { keyword: "CAMERA", value: camera.name },
  { keyword: "CCD-TEMP", value: plan.sensorC, decimals: 1 },
  { keyword: "EGAIN", value: camera.electronsPerAdu, decimals: 4 },
  { keyword: "FOCALLEN", value: telescope.focalLengthMm, decimals: 0 },
  { keyword: "PIXSIZE1", value: camera.pixelSizeUm, decimals: 2 },
  ...(camera.bayer === "" ? [] : [{ keyword: "BAYERPAT", value: camera.bayer }]),
  { keyword: "LATITUDE", value: site.latitudeDeg, decimals: 4 },
  { keyword: "LONGITUD", value: site.longitudeDeg, decimals: 4, comment: "east positive" },
];

const dialects = { garden, observatory, terse } as const;

/** The ADU at which a pixel is full, or the converter at its end. */
export const saturationAdu = (camera: Scenario["camera"]): number =>
  Math.min(2 ** camera.adcBits - 1, Math.round(camera.fullWellE / camera.electronsPerAdu + camera.offsetAdu));
