const second = 1;
const units: readonly (readonly [RegExp, number, string])[] = [
  [/\bmicro-?sec(?:ond)?s?\b|\busec\b|\bus\b|µs/i, 1e-6 * second, "microseconds"],
  [/\bmilli-?sec(?:ond)?s?\b|\bmsecs?\b|\bms\b/i, 1e-3 * second, "milliseconds"],
  [/\bsec(?:ond)?s?\b|\[s\]|\(s\)|\bs\b/i, second, "seconds"],
  [/\bmin(?:ute)?s?\b/i, 60 * second, "minutes"],
  [/\bhours?\b|\bhrs?\b|\[h\]/i, 3600 * second, "hours"],
];

/** A duration in seconds and the unit that it was written in. */
export interface ReadDuration {
  readonly seconds: number;
  readonly unit: string;
}

/**
 * Reads a duration: a number, text that holds one, or text with a unit (`5 min`, `250 ms`). The unit is the text's, else
 * the comment's, else seconds. A comment that names seconds beside another unit means seconds.
 * @returns null when it is no duration, or negative
 */
export function readDuration(value: unknown, comment: string): ReadDuration | null {
  const text = typeof value === "string" ? value.trim() : typeof value === "number" ? String(value) : "";
  const parts = /^(\+?(?:\d+\.?\d*|\.\d+)(?:E[+-]?\d+)?)\s*([a-zµ]*)\.?$/i.exec(text);
  if (parts === null) return null;
  const [, digits, written] = parts;
  const found = unitIn(written === "" ? comment : written!);
  if (found === undefined && written !== "") return null;
  return { seconds: Number(digits) * (found?.[1] ?? second), unit: found?.[2] ?? "seconds" };
}

function unitIn(text: string): (typeof units)[number] | undefined {
  const named = units.filter(([words]) => words.test(text));
  return named.find(([, , unit]) => unit === "seconds") ?? named[0];
}
