import { dialects } from "./dialects.js";
import { type Fact, factOf, type Look } from "./facts.js";

const patterns = ["RGGB", "BGGR", "GRBG", "GBRG"];

/**
 * The colour mosaic of the image as stored: the first two letters are the first stored row. An odd offset shifts the
 * pattern by one column or row; a row order from the bottom up means that the pattern was written for the other end of
 * the image, which swaps its rows when the height is even (common practice; no standard defines these keywords).
 */
export function bayerFact(look: Look): Fact<string> | null {
  return look.prefer("bayer", storedPattern(look), "colour mosaic");
}

function storedPattern(look: Look): Fact<string> | null {
  const found = [...dialects.bayer, "FILTER"]
    .map((keyword) => look.text([keyword]))
    .find((text) => text !== null && patterns.includes(text.value.toUpperCase()));
  if (!found) {
    const unknown = look.text(dialects.bayer);
    if (unknown !== null && !/^(?:none|no|n\/?a|mono(?:chrome)?|grey|gray|f|false|0|rgb)$/i.test(unknown.value))
      look.note(`${unknown.keyword} '${unknown.value}' is no 2 x 2 mosaic that is known here: taken as a mono sensor`);
    return null;
  }
  let pattern = found.value.toUpperCase();
  const x = Math.round(look.number(dialects.bayerX)?.value ?? 0);
  const y = Math.round(look.number(dialects.bayerY)?.value ?? 0);
  if (Math.abs(x) % 2 === 1) pattern = pattern[1]! + pattern[0]! + pattern[3]! + pattern[2]!;
  if (Math.abs(y) % 2 === 1) pattern = pattern.slice(2) + pattern.slice(0, 2);
  const order = look.text(dialects.rowOrder);
  if (order !== null && /bottom/i.test(order.value)) {
    const height = look.number(["ZNAXIS2"])?.value ?? look.number(["NAXIS2"])?.value ?? 0;
    if (height % 2 === 0) pattern = pattern.slice(2) + pattern.slice(0, 2);
    look.note("rows are stored from the bottom up: the colour pattern was turned to match");
  }
  return factOf(pattern, pattern === found.value.toUpperCase() ? found.from : { derived: `${found.keyword}, turned` });
}
