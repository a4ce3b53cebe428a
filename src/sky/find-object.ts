import { type SkyObject, skyObjects } from "./objects.js";

/**
 * Catalogues by the many ways in which people write them. A short prefix (M, N, C, B) counts only at the start of the
 * text, since "B 120s" in its middle is a filter and an exposure.
 */
const catalogues: readonly (readonly [RegExp, string])[] = [
  [/(?:^|\s)(?:ngc|new general catalogue)\s*0*(\d+)(?!\d|\.\d)/, "ngc"],
  [/(?:^|\s)ic\s*0*(\d+)(?!\d|\.\d)/, "ic"],
  [/(?:^|\s)(?:sh\s*2|sharpless\s*(?:2\s)?|sh)\s*0*(\d+)(?!\d|\.\d)/, "sh2"],
  [/(?:^|\s)messier\s*0*(\d+)(?!\d|\.\d)/, "m"],
  [/(?:^|\s)(?:barnard|barn)\s*0*(\d+)(?!\d|\.\d)/, "b"],
  [/(?:^|\s)caldwell\s*0*(\d+)(?!\d|\.\d)/, "c"],
  [/(?:^|\s)(?:vdb|van den bergh)\s*0*(\d+)(?!\d|\.\d)/, "vdb"],
  [/(?:^|\s)lbn\s*0*(\d+)(?!\d|\.\d)/, "lbn"],
  [/(?:^|\s)ldn\s*0*(\d+)(?!\d|\.\d)/, "ldn"],
  [/(?:^|\s)rcw\s*0*(\d+)(?!\d|\.\d)/, "rcw"],
  [/(?:^|\s)(?:cr|collinder)\s*0*(\d+)(?!\d|\.\d)/, "cr"],
  [/(?:^|\s)(?:mel|melotte)\s*0*(\d+)(?!\d|\.\d)/, "mel"],
  [/(?:^|\s)(?:ced|cederblad)\s*0*(\d+)(?!\d|\.\d)/, "ced"],
  [/(?:^|\s)simeis\s*0*(\d+)(?!\d|\.\d)/, "simeis"],
  [/(?:^|\s)pgc\s*0*(\d+)(?!\d|\.\d)/, "pgc"],
  [/(?:^|\s)m\s*0*(\d{1,3})(?!\d|\.\d|s\b|m\b)/, "m"],
  [/^n\s*0*(\d{2,4})(?!\d|\.\d|s\b)/, "ngc"],
  [/^c\s*0*(\d{1,3})(?!\d|\.\d|s\b)/, "c"],
  [/^b\s*0*(\d{1,3})(?!\d|\.\d|s\b)/, "b"],
];

/** Words after which nothing of a name can follow, and the words of a capture plan around a name. */
const planWords =
  /\b(?:target|object|obj|panel|pane|mosaic|tile|part|session|night|light|lights|sub|subs|final|test|ha|oiii|o3|sii|s2|hoo|sho|lrgb|rgb|lum|luminance|filter)\b(?:\s*\d+)?(?:\s*of\s*\d+)?/g;
const kindWords = / (?:nebula|galaxy|cluster|region|group)$/;

let byDesignation: Map<string, SkyObject> | undefined;
let byName: Map<string, SkyObject | null>;
let longestFirst: readonly string[];

/**
 * The object that the text of an OBJECT card means: any usual spelling of a designation ("NGC6888", "ngc_6888",
 * "N6888",
 * "M 31", "Messier31", "sh2-101", "IC 1396A panel 2", "Target: M42"), or a common name ("Crescent Nebula", "the Veil").
 * @returns null when the text names nothing in the table: a comet, a star, a field, a word of its own
 * @example
 * ```ts
 * import { findObject } from "nightyield";
 * console.log(findObject("the Crescent Nebula")?.raDeg, findObject("ngc6888")?.decDeg);
 * ```
 */
export function findObject(text: string): SkyObject | null {
  index();
  const plain = plainText(text);
  if (plain === "" || isOther(text)) return null;
  const named = plain.replace(/^(?:target|object|obj|name)\s+/, "");
  for (const [pattern, catalogue] of catalogues) {
    const found = pattern.exec(named);
    const object = found && byDesignation!.get(`${catalogue}${found[1]}`);
    if (object) return object;
  }
  return byCommonName(named);
}

/** Objects whose centre lies within a radius of a direction, nearest first. */
export function objectsNear(raDeg: number, decDeg: number, radiusDeg: number): SkyObject[] {
  const toRad = Math.PI / 180;
  return skyObjects()
    .map((object) => {
      // Chord between unit vectors: exact for the small angles that matter here.
      const [d1, d2, dRa] = [object.decDeg * toRad, decDeg * toRad, (object.raDeg - raDeg) * toRad];
      const half = Math.sin((d1 - d2) / 2) ** 2 + Math.cos(d1) * Math.cos(d2) * Math.sin(dRa / 2) ** 2;
      return { object, distanceDeg: (2 * Math.asin(Math.min(1, Math.sqrt(half)))) / toRad };
    })
    .filter(({ distanceDeg }) => distanceDeg <= radiusDeg)
    .sort((a, b) => a.distanceDeg - b.distanceDeg)
    .map(({ object }) => object);
}

function byCommonName(named: string): SkyObject | null {
  const bare = named.replaceAll(planWords, " ").replaceAll(/\s+/g, " ").trim().replace(/^the /, "");
  const whole = byName.get(bare);
  if (whole) return whole;
  // A full name within more words: "crescent nebula ha 300s". The longest one wins.
  const padded = ` ${bare} `;
  const inside = longestFirst.find((name) => padded.includes(` ${name} `));
  return inside === undefined ? null : (byName.get(inside) ?? null);
}

function index(): void {
  if (byDesignation !== undefined) return;
  byDesignation = new Map();
  byName = new Map();
  const full: string[] = [];
  const put = (name: string, object: SkyObject) =>
    byName.set(name, byName.has(name) && byName.get(name) !== object ? null : object);
  for (const object of skyObjects())
    for (const name of [object.name, ...object.otherNames]) {
      const designation = /^(m|ngc|ic|sh2|b|c|vdb|lbn|ldn|rcw|cr|mel|melotte|ced|simeis|pgc)[ -]+(\d+)$/i.exec(name);
      if (designation !== null) {
        const catalogue = designation[1]!.toLowerCase().replace("melotte", "mel");
        const key = `${catalogue}${designation[2]}`;
        if (!byDesignation.has(key)) byDesignation.set(key, object);
        continue;
      }
      const plain = plainText(name);
      put(plain, object);
      // Only names of two words and more may be looked for inside a longer text.
      if (plain.includes(" ")) full.push(plain);
      const core = plain.replace(kindWords, "");
      if (core !== plain) put(core, object);
    }
  longestFirst = full.sort((a, b) => b.length - a.length);
}

/** Lower case, no accents or apostrophes, other marks as blanks. */
function plainText(text: string): string {
  return text
    .normalize("NFKD")
    .replaceAll(/[\u0300-\u036f'’´`]/g, "")
    .toLowerCase()
    .replaceAll(/[^\p{L}\p{N}.]+/gu, " ")
    .trim();
}

/** Comets and asteroids ("C/2023 A3", "P/Halley", "2019 XY") look like designations of other catalogues and are not. */
const isOther = (text: string): boolean => /(?:^|\s)\d*[CPDXI]\/|comet|asteroid/i.test(text);
