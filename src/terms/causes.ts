/** What most likely made the symptoms. One registry: documents, legends and tests read it. */
export const causeRegistry = {
  cloud: { short: "cloud", long: "Cloud or haze in front of the stars." },
  twilight: { short: "twilight", long: "The Sun was not far enough below the horizon." },
  moonlight: { short: "moonlight", long: "The Moon lit the sky." },
  "low-altitude": { short: "low altitude", long: "The target stood low, behind much air." },
  focus: { short: "focus", long: "The focus had drifted." },
  wind: { short: "wind", long: "A gust moved the telescope." },
  tracking: { short: "tracking", long: "The mount did not follow the sky." },
  "field-rotation": { short: "field rotation", long: "The field turned during the exposure (alt-azimuth mount)." },
  dew: { short: "dew", long: "Moisture settled on the optics." },
  obstruction: { short: "obstruction", long: "A roof, tree or cap stood in the way." },
  "warm-sensor": { short: "warm sensor", long: "The sensor was warmer than usual." },
  "satellite-or-aircraft": { short: "satellite or aircraft", long: "Something bright flew through the field." },
  "bad-file": { short: "bad file", long: "The file was not written completely, or changed later." },
  unknown: { short: "unknown", long: "Nothing that was measured explains it." },
} as const;
export type CauseCode = keyof typeof causeRegistry;
/** The codes of all causes. */
export const causeCodes = Object.keys(causeRegistry) as readonly CauseCode[];
export const isCauseCode = (text: string): text is CauseCode => Object.hasOwn(causeRegistry, text);
