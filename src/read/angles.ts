/** An angle as it was written. */
export interface ReadAngle {
  /** In the unit of its first part: degrees, or hours. */
  readonly value: number;
  readonly sexagesimal: boolean;
  /** What stands behind the first part: `h` for hours, `d` for degrees (also `°`), or nothing that tells. */
  readonly mark: "h" | "d" | "";
}

/**
 * Reads an angle written in decimals or in sexagesimal form: `41.27`, `+41 16 09.0`, `-00:30:00`, `10h 42m 44s`, `41d16m`.
 * @returns null when the text is no angle. Minutes and seconds must be below 60; the sign also counts for "-00"
 */
export function parseAngle(text: string): ReadAngle | null {
  const plain = text.trim().replace(/^[−–]/, "-");
  if (/^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eEdD][+-]?\d+)?$/.test(plain))
    return { value: Number(plain.replace(/d/i, "E")), sexagesimal: false, mark: "" };
  const parts =
    /^([+-])?\s*(\d{1,3})\s*([:hd°\s])\s*(\d{1,2}(?:\.\d*)?)(?:\s*[:m'′\s]\s*(\d{1,2}(?:\.\d*)?))?\s*[s"″m'′]?$/i.exec(
      plain,
    );
  if (parts === null) return null;
  const [, sign, whole, separator, minutes, seconds = "0"] = parts;
  if (Number(minutes) >= 60 || Number(seconds) >= 60) return null;
  const value = Number(whole) + Number(minutes) / 60 + Number(seconds) / 3600;
  const mark = /h/i.test(separator!) ? "h" : /[d°]/i.test(separator!) ? "d" : "";
  return { value: sign === "-" ? -value : value, sexagesimal: true, mark };
}

/** Degrees as text, `+41 16 09.00` (or hours of right ascension when the caller divides by 15). */
export function formatSexagesimal(value: number, decimals = 2): string {
  const scale = 10 ** decimals;
  const total = Math.round(Math.abs(value) * 3600 * scale);
  const seconds = (total % (60 * scale)) / scale;
  const minutes = Math.floor(total / (60 * scale)) % 60;
  const whole = Math.floor(total / (3600 * scale));
  const sign = value < 0 || Object.is(value, -0) ? "-" : "+";
  const width = decimals > 0 ? 3 + decimals : 2;
  return `${sign}${String(whole).padStart(2, "0")} ${String(minutes).padStart(2, "0")} ${seconds.toFixed(decimals).padStart(width, "0")}`;
}

/** The same direction as -180 up to, not including, 180 degrees. */
export const withinHalfTurn = (deg: number): number =>
  deg >= -180 && deg < 180 ? deg : ((((deg + 180) % 360) + 360) % 360) - 180;

/** Angle between two places in the sky, degrees (haversine formula, exact for small angles too). */
export function separationDeg(
  one: { readonly raDeg: number; readonly decDeg: number },
  other: { readonly raDeg: number; readonly decDeg: number },
): number {
  const rad = Math.PI / 180;
  const half = (deg: number) => Math.sin((deg * rad) / 2) ** 2;
  const across = Math.cos(one.decDeg * rad) * Math.cos(other.decDeg * rad) * half(one.raDeg - other.raDeg);
  return (2 * Math.asin(Math.min(1, Math.sqrt(half(one.decDeg - other.decDeg) + across)))) / rad;
}
