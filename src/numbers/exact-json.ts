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
export const fromExactJson = (text: string): unknown => untagged(JSON.parse(text));

function tagged(part: unknown): unknown {
  if (typeof part === "number" && (!Number.isFinite(part) || Object.is(part, -0)))
    return { [oddNumber]: Object.is(part, -0) ? "-0" : String(part) };
  return part instanceof Float64Array ? { [wideArray]: Array.from(part) } : part;
}

/** In place, which is several times faster than a reviver of JSON.parse. */
function untagged(part: unknown): unknown {
  if (typeof part !== "object" || part === null) return part;
  const parts = part as Record<string, unknown>;
  for (const name in parts) {
    const inner = parts[name];
    if (typeof inner === "object") parts[name] = untagged(inner);
  }
  if (Array.isArray(parts[wideArray])) return Float64Array.from(parts[wideArray]);
  return typeof parts[oddNumber] === "string" ? Number(parts[oddNumber]) : part;
}
