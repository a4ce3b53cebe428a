const wideArray = "float64";
const oddNumber = "number";

/**
 * JSON that gives back what went in: numbers to the last bit, NaN, infinities and -0 too, and Float64Arrays as such.
 * Objects with the single key "float64" or "number" are its own.
 */
export const toExactJson = (value: unknown): string => JSON.stringify(value, (_, part) => tagged(part));

/**
 * Reads what {@link toExactJson} wrote.
 * @throws SyntaxError when the text is not JSON
 */
export const fromExactJson = (text: string): unknown => JSON.parse(text, (_, part) => untagged(part));

function tagged(part: unknown): unknown {
  if (typeof part === "number" && (!Number.isFinite(part) || Object.is(part, -0)))
    return { [oddNumber]: Object.is(part, -0) ? "-0" : String(part) };
  return part instanceof Float64Array ? { [wideArray]: Array.from(part) } : part;
}

function untagged(part: unknown): unknown {
  if (typeof part !== "object" || part === null) return part;
  if (wideArray in part && Array.isArray(part[wideArray])) return Float64Array.from(part[wideArray]);
  return oddNumber in part && typeof part[oddNumber] === "string" ? Number(part[oddNumber]) : part;
}
