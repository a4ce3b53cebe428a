/** A temperature in Celsius, and what had to be assumed to get there. */
export interface ReadTemperature {
  readonly celsius: number;
  /** The unit as written, or as guessed from the range. */
  readonly unit: "C" | "K" | "F";
  readonly guessed: boolean;
}

const toCelsius = { C: (t: number) => t, K: (t: number) => t - 273.15, F: (t: number) => ((t - 32) * 5) / 9 } as const;

/**
 * Reads a temperature that a header gives as a number or as text with a unit. Without a unit it is Celsius, unless the
 * range says otherwise: no sensor is at 100 to 320 C, but in kelvin that is -173 to 47 C.
 * @param value - the card's value
 * @param comment - the card's comment, which may name the unit
 * @returns null when it is no temperature
 */
export function readTemperature(value: unknown, comment: string): ReadTemperature | null {
  const text = typeof value === "string" ? value.trim() : String(value ?? "");
  const parts = /^([+-]?(?:\d+\.?\d*|\.\d+)(?:E[+-]?\d+)?)\s*(?:°|deg)?\.?\s*([CKF])?[a-z]*$/i.exec(text);
  if (parts === null) return null;
  const number = Number(parts[1]);
  const written = (parts[2]?.toUpperCase() as "C" | "K" | "F" | undefined) ?? unitIn(comment);
  if (written !== undefined) return { celsius: toCelsius[written](number), unit: written, guessed: false };
  const unit = number >= 100 && number <= 320 ? "K" : "C";
  return { celsius: toCelsius[unit](number), unit, guessed: true };
}

function unitIn(comment: string): "C" | "K" | "F" | undefined {
  if (/\bcelsius|\bcentigrade|\bdeg(?:rees?)?\.?\s*C\b|°C|\[C\]|\(C\)|\bin C\b/i.test(comment)) return "C";
  if (/\bkelvin|\[K\]|\(K\)|\bdeg(?:rees?)?\.?\s*K\b|\bin K\b/i.test(comment)) return "K";
  if (/\bfahrenheit|\bdeg(?:rees?)?\.?\s*F\b|°F|\[F\]|\(F\)|\bin F\b/i.test(comment)) return "F";
  return undefined;
}
