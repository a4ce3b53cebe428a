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
  /** Start as modified Julian date, and as Julian date. */
  startMjd: ["MJD-BEG", "MJD-OBS", "MJD_OBS", "MJD-STR"],
  startJd: ["JD-OBS", "JD_OBS", "JD-BEG", "JD"],
  /** Local time without a zone: worth a note, never a start time. */
  localTime: ["DATE-LOC", "TIME-LOC", "LT-OBS", "LOCTIME", "DATE-LCL"],
  filter: ["FILTER", "FILTNAME", "FILTER1", "FILTERS", "FILTERID", "FILT", "FILTER01", "BAND"],
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
  ],
  setTemp: ["SET-TEMP", "SETTEMP", "CCDSET", "SET_TEMP", "CCD-SETP"],
  ambientTemp: ["AMBTEMP", "AMB-TEMP", "TEMP_OUT", "OUTTEMP", "AOCAMBT", "AIRTEMP", "FOCTEMP"],
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
  latitude: ["SITELAT", "LAT-OBS", "LATITUDE", "OBSLAT", "OBSGEO-B", "SITE-LAT", "GEOLAT", "OBS-LAT", "LAT"],
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
  ],
  siderealTime: ["LST-OBS", "LST", "ST", "SIDTIME", "LST-STRT"],
  focalLength: ["FOCALLEN", "FOCLEN", "FOCAL", "TELFOCAL"],
  pixelSize: ["XPIXSZ", "PIXSIZE", "PIXSIZE1", "XPIXELSZ", "PIXELSZ", "CCDPXSZ1"],
  pixelScale: ["SECPIX", "SECPIXX", "SECPIX1", "PIXSCALE", "SCALE", "PIXSCAL1", "PLTSCL"],
  binningX: ["XBINNING", "BINX", "BIN1", "XBIN", "CCDXBIN", "ADELX_01"],
  binningY: ["YBINNING", "BINY", "BIN2", "YBIN", "CCDYBIN", "ADELY_01"],
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
  [/flat/i, "flat"],
  [/bias|zero|offset/i, "bias"],
  [/dark/i, "dark"],
  [/light|object|science|target|sky|^lights?$|exposure|image/i, "light"],
  [/focus|test|acquisition|preview|guide|pointing/i, "other"],
] as const;

/** Filters by name: what they let through, as far as planning needs it. Trade-wide names only; tried in order. */
export const filterWords = [
  [/^(?:|none|no filter|open|empty|clear|c|air|blank)$/i, "none"],
  [/\b(?:dual|duo|tri|quad|multi)[ -]?(?:narrow)?[ -]?band/i, "dual-band"],
  [/h[ -]?alpha|^h[ -]?a\b|ha\b.*o ?iii|^ha\d|^ha$/i, "narrowband"],
  [
    /\bo[ -]?iii\b|^oiii|\bs[ -]?ii\b|^sii|h[ -]?beta|^h[ -]?b\b|\bn[ -]?ii\b|^nb\d|narrow ?band|\b\d{1,2} ?nm\b/i,
    "narrowband",
  ],
  [
    /^(?:l|lum|luminance|r|g|b|red|green|blue|u|v|i|y|z|vr|rggb|rgb|uv[ /-]?ir|ir[ -]?cut|uhc|cls|[ugriz]'|s[dl]ss.?[ugriz]|bessell? ?[ubvri]|johnson ?[ubv]|cousins ?[ri])\b/i,
    "broadband",
  ],
  [/light ?pollution|\blps?\b|broad ?band|uv.?ir.?cut|uv\b|ir\b/i, "broadband"],
] as const;
