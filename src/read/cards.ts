/** A complex number of a header card. */
export interface Complex {
  readonly re: number;
  readonly im: number;
}

/** Integers beyond 2^53 come as bigint, so that nothing is lost. `null`: the card gives no value. */
export type CardValue = string | number | bigint | boolean | Complex | null;

/**
 * `commentary`: COMMENT, HISTORY, blank keyword. `no-value`: bytes 9-10 are not "= ". `undefined`: "= " and nothing.
 * `unparsable`: "= " and something that is no legal value; the raw text is in `comment`.
 */
export type CardKind =
  | "string"
  | "integer"
  | "real"
  | "logical"
  | "complex"
  | "undefined"
  | "commentary"
  | "no-value"
  | "unparsable";

/** One keyword record of a header; CONTINUE records are joined to the card that they continue. */
export interface Card {
  /** Without HIERARCH; empty for a blank keyword. */
  readonly keyword: string;
  readonly kind: CardKind;
  readonly value: CardValue;
  readonly comment: string;
  /** Byte of the file at which the card starts. */
  readonly offsetBytes: number;
}

export const cardBytes = 80;
const integerPattern = /^[+-]?\d+$/;
// Lower-case exponents and keywords break the standard but say plainly what they mean, so they are read.
const realPattern = /^[+-]?(?:\d+\.?\d*|\.\d+)(?:[EDed][+-]?\d+)?$/;

/**
 * Reads one 80-byte card (FITS Standard 4.0, section 4), fixed or free format. Never throws: what cannot be understood
 * is a card of kind `unparsable`.
 * @param text - the card, one character a byte
 * @param offsetBytes - byte of the file at which it starts
 */
export function parseCard(text: string, offsetBytes: number): Card {
  const name = text.slice(0, 8).trimEnd().toUpperCase();
  if (name === "COMMENT" || name === "HISTORY" || name === "")
    return { keyword: name, kind: "commentary", value: trimEnd(text.slice(8)), comment: "", offsetBytes };
  if (name === "HIERARCH") {
    const equals = text.indexOf("=", 8);
    const long = equals < 0 ? "" : text.slice(8, equals).trim();
    // A quote before the equals sign means that the sign belongs to a text, not to the card.
    if (long !== "" && !long.includes("'")) return withValue(long, text.slice(equals + 1), offsetBytes);
  }
  if (text.slice(8, 10) !== "= ")
    return { keyword: name, kind: "no-value", value: trimEnd(text.slice(8)), comment: "", offsetBytes };
  return withValue(name, text.slice(10), offsetBytes);
}

/** The text of a CONTINUE card (section 4.2.1.2), or null when it is no string and so continues nothing. */
export function parseContinue(text: string): { value: string; comment: string } | null {
  if (text.slice(0, 8) !== "CONTINUE" || text.slice(8, 10) === "= ") return null;
  const found = quoted(text.slice(8));
  return found === null ? null : { value: found.value, comment: commentOf(found.rest) };
}

function withValue(keyword: string, field: string, offsetBytes: number): Card {
  const body = field.trimStart();
  const found = body.startsWith("'") ? quoted(body) : null;
  if (found !== null && isCommentOrNothing(found.rest))
    return { keyword, kind: "string", value: found.value, comment: commentOf(found.rest), offsetBytes };
  const slash = body.indexOf("/");
  const word = (slash < 0 ? body : body.slice(0, slash)).trim();
  const comment = slash < 0 ? "" : body.slice(slash + 1).trim();
  const card = (kind: CardKind, value: CardValue): Card => ({ keyword, kind, value, comment, offsetBytes });
  if (body.startsWith("'")) return { ...card("unparsable", null), comment: field.trimEnd() };
  if (word === "") return card("undefined", null);
  if (word === "T" || word === "F") return card("logical", word === "T");
  if (integerPattern.test(word)) return card("integer", integerOf(word));
  if (realPattern.test(word)) return card("real", Number(word.replace(/d/i, "E")));
  const complex = complexOf(word);
  if (complex !== null) return card("complex", complex);
  return { ...card("unparsable", null), comment: field.trimEnd() };
}

function integerOf(word: string): number | bigint {
  const n = Number(word);
  return Number.isSafeInteger(n) ? n + 0 : BigInt(word.startsWith("+") ? word.slice(1) : word);
}

function complexOf(word: string): Complex | null {
  if (!word.startsWith("(") || !word.endsWith(")")) return null;
  const parts = word.slice(1, -1).split(",");
  const numbers = parts.map((part) => {
    const piece = part.trim();
    return integerPattern.test(piece) || realPattern.test(piece) ? Number(piece.replace(/d/i, "E")) : Number.NaN;
  });
  return numbers.length === 2 && !numbers.some(Number.isNaN) ? { re: numbers[0]!, im: numbers[1]! } : null;
}

/** A string in single quotes at the start of `field`; two quotes within it stand for one. */
function quoted(field: string): { value: string; rest: string } | null {
  const body = field.trimStart();
  if (!body.startsWith("'")) return null;
  let value = "";
  for (let at = 1; at < body.length; at++) {
    if (body[at] !== "'") value += body[at];
    else if (body[at + 1] === "'") {
      value += "'";
      at++;
    } else return { value: trimEnd(value), rest: body.slice(at + 1) };
  }
  return null;
}

const isCommentOrNothing = (rest: string) => /^\s*(?:\/|$)/.test(rest);
const commentOf = (rest: string) => rest.trimStart().replace(/^\//, "").trim();
/** Only blanks are padding; other white space was put there by someone. */
function trimEnd(text: string): string {
  let end = text.length;
  while (end > 0 && text.charCodeAt(end - 1) === 32) end--;
  return text.slice(0, end);
}
