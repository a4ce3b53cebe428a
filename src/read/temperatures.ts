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
 * range says otherwise. Sensor: none is at 100 to 320 C, but in kelvin that is -173 to 47 C. Air: no night is warmer
 * than 45 C; above that it is Fahrenheit, from 200 on kelvin.
 * @param value - the card's value
 * @param comment - the card's comment, which may name the unit
 * @param of - what the temperature is of
 * @returns null when it is no temperature, below absolute zero, or above 100 C (999 stands for "not measured")
 */
export function readTemperature(
  value: unknown,
  comment: string,
  of: "sensor" | "air" = "sensor",
): ReadTemperature | null {
  const text = typeof value === "string" ? value.trim() : String(value ?? "");
  const parts =
    /^([+-]?(?:\d+\.?\d*|\.\d+)(?:E[+-]?\d+)?)\s*(?:°|deg(?:rees?)?\.?)?\s*(C|celsius|centigrade|K|kelvin|F|fahrenheit)?$/i.exec(
      text,
    );
  if (parts === null) return null;
  const number = Number(parts[1]);
  const written = (parts[2]?.charAt(0).toUpperCase() as "C" | "K" | "F" | undefined) ?? unitIn(comment);
  const unit = written ?? likelyUnit(number, of);
  const celsius = toCelsius[unit](number);
  return !(celsius >= -273.15 && celsius <= 100) ? null : { celsius, unit, guessed: written === undefined };
}

function likelyUnit(number: number, of: "sensor" | "air"): "C" | "K" | "F" {
  if (of === "air") return number >= 200 && number <= 330 ? "K" : number > 45 && number < 200 ? "F" : "C";
  return number >= 100 && number <= 320 ? "K" : "C";
}

function unitIn(comment: string): "C" | "K" | "F" | undefined {
  if (/\bcelsius|\bcentigrade|\bdeg(?:rees?)?\.?\s*C\b|°C|\[C\]|\(C\)|\bin C\b/i.test(comment)) return "C";
  if (/\bkelvin|\[K\]|\(K\)|\bdeg(?:rees?)?\.?\s*K\b|\bin K\b/i.test(comment)) return "K";
  if (/\bfahrenheit|\bdeg(?:rees?)?\.?\s*F\b|°F|\[F\]|\(F\)|\bin F\b/i.test(comment)) return "F";
  return undefined;
}
