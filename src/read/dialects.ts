/**
 * The many spellings of what a header can say, in the order in which they are believed. A keyword of the FITS Standard
 * or of an observatory's written convention stands before a common habit. Collected from real headers (the standard's
 * own keywords: FITS Standard 4.0, sections 4.4 and 9); the rest is common practice without a single source.
 */
export const dialects = {
  /** Seconds, unless the comment says minutes or milliseconds. */
  exposure: ["EXPTIME", "EXPOSURE", "XPOSURE", "EXP_TIME", "EXPOSED", "ITIME", "TELAPSE"],
  /** Start of the exposure: date, with or without the time of day. */
  start: ["DATE-BEG", "DATE-OBS", "DATE_OBS", "DATEOBS", "DATE-STA", "UTC-DATE"],
  /** Time of day that belongs to a date without one, UTC. */
  timeOfDay: [
    "UTCSTART",
    "UTC-OBS",
    "UT-OBS",
    "TIME-OBS",
    "TIME-BEG",
    "UTSTART",
    "UT-START",
    "UTC",
    "UT",
    "UTOBS",
    "TIME",
  ],
  /** The same in seconds of the day. */
  secondOfDay: ["TM-START", "TM_START"],
  /** Middle of the exposure. */
  middle: ["DATE-AVG", "DATE-MID", "MIDTIME"],
  /** The same as Julian or modified Julian date; the size of the number tells which. */
  middleJulian: ["MIDTIMJD", "JD-MID", "MJD-AVG", "MJD-MID"],
  /** Start as modified Julian date, and as Julian date. */
  startMjd: ["MJD-BEG", "MJD-OBS", "MJD_OBS", "MJD-STR"],
  startJd: ["JD-OBS", "JD_OBS", "JD-BEG", "JD"],
  /** Local time without a zone: worth a note, never a start time. */
  localTime: ["DATE-LOC", "TIME-LOC", "LT-OBS", "LOCTIME", "DATE-LCL"],
  filter: ["FILTER", "FILTNAME", "FILTER1", "FILTER2", "FILTER3", "FILTERS", "FILTERID", "FILT", "FILTER01", "BAND"],
  gainSetting: ["GAINSET", "GAIN_SET", "CAMGAIN", "ISOSPEED", "ISO"],
  /** GAIN is either; see exposure-facts.ts. */
  electronsPerAdu: ["EGAIN", "E-GAIN", "EPERADU", "AGAIN_01", "GAIN_ADU"],
  gain: ["GAIN", "GAINVAL"],
  readNoise: ["RDNOISE", "READNOIS", "READNOISE", "RON", "RN_01", "ARDNS_01", "ENOISE"],
  sensorTemp: [
    "CCD-TEMP",
    "CCDTEMP",
    "DET-TEMP",
    "DETTEMP",
    "SENSTEMP",
    "CAMTEMP",
    "TEMPCCD",
    "CCD_TEMP",
    "TEMPERAT",
    "CHIPTEMP",
    "ESO DET TEMPMEAN",
  ],
  /** Of the cooler's cold end; always colder than the sensor while it works. */
  coldTipTemp: ["CTTEMP", "COLDTIP"],
  setTemp: ["SET-TEMP", "SETTEMP", "CCDSET", "SET_TEMP", "CCD-SETP"],
  ambientTemp: ["AMBTEMP", "AMB-TEMP", "TEMP_OUT", "OUTTEMP", "TEMPAMB", "AOCAMBT", "AIRTEMP", "FOCTEMP"],
  target: ["OBJECT", "OBJNAME", "TARGET", "TARGNAME", "FIELD"],
  /** Text in sexagesimal form is hours; a number is degrees unless the comment says hours. */
  ra: [
    "OBJCTRA",
    "OBJRA",
    "RA_OBJ",
    "TARGRA",
    "RA",
    "TELRA",
    "RA-OBS",
    "RA_OBS",
    "OBSRA",
    "RA-MNT",
    "RA_MNT",
    "RA_TEL",
    "TEL-RA",
  ],
  dec: [
    "OBJCTDEC",
    "OBJDEC",
    "DEC_OBJ",
    "TARGDEC",
    "DEC",
    "TELDEC",
    "DEC-OBS",
    "DEC_OBS",
    "OBSDEC",
    "DEC-MNT",
    "DEC_MNT",
    "DEC_TEL",
    "TEL-DEC",
  ],
  latitude: [
    "SITELAT",
    "LAT-OBS",
    "LATITUDE",
    "OBSLAT",
    "OBSGEO-B",
    "SITE-LAT",
    "GEOLAT",
    "OBS-LAT",
    "LAT",
    "ESO TEL GEOLAT",
    "ESO TEL LAT",
  ],
  longitude: [
    "SITELONG",
    "LONG-OBS",
    "LONGITUD",
    "OBSLONG",
    "OBSGEO-L",
    "SITE-LON",
    "GEOLONG",
    "GEOLON",
    "OBS-LONG",
    "OBS-LON",
    "LONG",
    "SITELON",
    "ESO TEL GEOLON",
    "ESO TEL LON",
  ],
  height: [
    "SITEELEV",
    "ELEV-OBS",
    "ALT-OBS",
    "ALTITUDE",
    "OBSALT",
    "OBSGEO-H",
    "SITEALT",
    "SITE-ALT",
    "OBS-ELEV",
    "ELEVATIO",
    "HEIGHT",
    "GEOELEV",
    "ESO TEL GEOELEV",
    "ESO TEL ALTITUDE",
  ],
  siderealTime: ["LST-OBS", "LST", "ST", "SIDTIME", "LST-STRT", "ESO GEN EXPO LST"],
  hourAngle: ["HA", "HA-OBS", "HA_OBS", "OBJCTHA", "HA-MNT", "TELHA"],
  focalLength: ["FOCALLEN", "FOCLEN", "FOCAL", "TELFOCAL"],
  pixelSize: ["XPIXSZ", "PIXSIZE", "PIXSIZE1", "XPIXELSZ", "PIXELSZ", "CCDPXSZ1"],
  /** Of the stored pixels, unless the comment says unbinned; a scale per mm is none. */
  pixelScale: ["SECPIX", "SECPIXX", "SECPIX1", "PIXSCALE", "SCALE", "PIXSCAL1", "PLTSCL", "PIXSCAL"],
  binningX: ["XBINNING", "BINX", "BIN1", "XBIN", "CCDXBIN", "ADELX_01"],
  binningY: ["YBINNING", "BINY", "BIN2", "YBIN", "CCDYBIN", "ADELY_01"],
  /** Both factors in one text, "3 3" or "2x2". */
  binningBoth: ["CCDSUM", "BINNING"],
  bayer: ["BAYERPAT", "COLORTYP", "CFAPAT", "BAYER", "MOSAICPT"],
  bayerX: ["XBAYROFF", "BAYOFFX"],
  bayerY: ["YBAYROFF", "BAYOFFY"],
  rowOrder: ["ROWORDER", "ROW-ORDR"],
  kind: ["IMAGETYP", "IMAGETYPE", "FRAMETYP", "FRAME", "OBSTYPE", "IMGTYPE", "IMTYPE", "FRAMTYPE"],
  saturation: ["SATURATE", "SATLEVEL", "MAXLIN", "SATURATI", "DATASAT", "WHITELEV"],
  pedestal: ["PEDESTAL", "OFFSETAD", "BLACKLEV"],
  framesSummed: ["NCOMBINE", "NUMFRAME", "NSUBEXP", "NFRAMES"],
} as const satisfies Record<string, readonly string[]>;

export type DialectName = keyof typeof dialects;

/** Kinds of exposure by the words that headers use, tried in order. */
export const kindWords = [
  [/dark.*flat|flat.*dark/i, "dark-flat"],
  [/flat|twilight/i, "flat"],
  [/bias|zero|offset/i, "bias"],
  [/dark/i, "dark"],
  [/focus|\btest\b|acquisition|preview|snapshot|\bguid(?:e|er|ing)\b|pointing|\barc\b|\blamp\b/i, "other"],
  [/light|object|science|^sci$|target|sky|exposure|image|standard/i, "light"],
] as const;

/** Text of the filter keywords that means that no filter was named. */
export const noFilterNamed = /^(?:unknown|n\/?a|undefined|null|-+|\?)?$/i;

/** An emission line's name; one letter more on either side makes it another word. */
const line = "(?:h[ _-]?(?:alpha|beta|[αβ])|(?<![a-z])(?:h[ _-]?[ab]|[ons][ _-]?i{2,3}|[ons][23])(?![a-z]))";

/** Filters by name: what they let through, as far as planning needs it. Trade-wide names only; tried in order. */
export const filterWords = [
  [/^(?:none|no|no[ _-]?filter|open|empty|clear|clear glass|c|air|blank)$/i, "none"],
  [/\b(?:dual|duo|tri|quad|multi)[ _-]?(?:narrow)?[ _-]?(?:band|line)?\b/i, "dual-band"],
  // Two lines in one name, with or without something between them.
  [new RegExp(`${line}.*${line}|\\bh[ab][ +/&_-]?[os](?:i{2,3}|[23])`, "i"), "dual-band"],
  [new RegExp(`${line}|^nb(?![a-z])|\\bnb[ .]?\\d|narrow[ _-]?band|\\b\\d{1,2}(?:\\.\\d)? ?nm\\b`, "i"), "narrowband"],
  [
    /^(?:l|lum|luminance|lrgb|r|g|b|red|green|blue|u|v|i|y|z|j|k|ks|vr|rggb|bggr|grbg|gbrg|rgb|uv[ /_-]?ir|ir[ _-]?cut|uhc|cls|[ugriz]'|s[dl]ss.?[ugriz]'?|bessell? ?[ubvri]|johnson ?[ubv]|cousins ?[ri])(?![a-z0-9'])/i,
    "broadband",
  ],
  [/light ?pollution|\blps?\b|broad ?band|uv.?ir.?cut|\buv\b|\bir\b/i, "broadband"],
] as const;
