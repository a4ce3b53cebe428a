import type { Card } from "./cards.js";
import type { GivenValues } from "./exposure-facts.js";
import type { Header } from "./header.js";

/** Who gave a value that no header says. */
export type GivenFrom = "command line" | "site file" | "notebook";
/** Where a value comes from. */
export type Origin =
  | { readonly keyword: string; readonly offsetBytes: number }
  | { readonly given: GivenFrom }
  | { readonly derived: string };

/** A value and where it came from. */
export interface Fact<T> {
  readonly value: T;
  readonly from: Origin;
}
export const factOf = <T>(value: T, from: Origin): Fact<T> => ({ value, from });
/** The fact alone, without what only reading it needed. */
export const bare = <T>(found: Fact<T> | null): Fact<T> | null => found && factOf(found.value, found.from);

/** A value from a card, with the card's comment. */
export interface Found<T> extends Fact<T> {
  readonly keyword: string;
  readonly comment: string;
}

/** Looks facts up in headers and in what the user gave, and collects notes. */
export interface Look {
  /** Cards of these keywords that give a value: the image's own header first, in it by the order of the keywords. */
  cards(keywords: readonly string[]): Card[];
  /** The first number; text that holds a number counts. */
  number(keywords: readonly string[], allowed?: (n: number) => boolean): Found<number> | null;
  /** All of them. */
  numbers(keywords: readonly string[], allowed?: (n: number) => boolean): Found<number>[];
  /** The first text that is not empty; a number counts as its digits. */
  text(keywords: readonly string[]): Found<string> | null;
  given<K extends keyof GivenValues>(key: K): Fact<NonNullable<GivenValues[K]>> | null;
  /** The given value, else the one that was read; a difference is noted. */
  prefer<K extends keyof GivenValues>(
    key: K,
    read: Fact<NonNullable<GivenValues[K]>> | null,
    what: string,
  ): Fact<NonNullable<GivenValues[K]>> | null;
  note(text: string): void;
}

export function lookIn(
  headers: readonly Header[],
  given: readonly { readonly from: GivenFrom; readonly values: GivenValues }[],
  notes: string[],
): Look {
  const indexed = headers.map(byKeyword);
  const cards = (keywords: readonly string[]) => {
    const found: Card[] = [];
    for (const header of indexed)
      for (const keyword of keywords) {
        const own = header.get(keyword) ?? [];
        noteDuplicates(own);
        found.push(...own);
      }
    return found;
  };
  /** Different values of one keyword leave it undecided (FITS Standard 4.0, section 4.1.2.3); tiny differences do not matter. */
  const noteDuplicates = (own: readonly Card[]) => {
    const [first, ...rest] = own;
    for (const other of rest) {
      const close = Math.abs(Number(first!.value) - Number(other.value)) <= 1e-4 * Math.abs(Number(first!.value));
      const text = `${first!.keyword} stands twice with different values: the first was taken`;
      if (first!.value !== other.value && !close && !notes.includes(text)) notes.push(text);
    }
  };
  const numbers: Look["numbers"] = (keywords, allowed = () => true) =>
    cards(keywords).flatMap((card) => {
      const plain = typeof card.value === "string" ? card.value.trim() : card.value;
      if (plain === "" || typeof plain === "boolean" || typeof plain === "object") return [];
      const n = Number(plain);
      return Number.isFinite(n) && allowed(n) ? [foundIn(card, n)] : [];
    });
  const lastGiven: Look["given"] = (key) => {
    const last = given.findLast(({ values }) => values[key] !== undefined);
    return last === undefined ? null : factOf(last.values[key]!, { given: last.from });
  };
  return {
    cards,
    numbers,
    number: (keywords, allowed) => numbers(keywords, allowed)[0] ?? null,
    text(keywords) {
      for (const card of cards(keywords)) {
        const text = typeof card.value === "boolean" || typeof card.value === "object" ? "" : String(card.value).trim();
        if (text !== "") return foundIn(card, text);
      }
      return null;
    },
    given: lastGiven,
    prefer(key, read, what) {
      const said = lastGiven(key);
      if (said !== null && read !== null && differ(said.value, read.value))
        notes.push(`${what} given as ${said.value}, the header says ${read.value}: the given one was taken`);
      return said ?? bare(read);
    },
    note(text) {
      if (!notes.includes(text)) notes.push(text);
    },
  };
}

/** The cards that give a value; each keyword is asked for many times. */
function byKeyword(header: Header): Map<string, Card[]> {
  const index = new Map<string, Card[]>();
  for (const card of header.cards) {
    if (!gives(card)) continue;
    const same = index.get(card.keyword);
    if (same === undefined) index.set(card.keyword, [card]);
    else same.push(card);
  }
  return index;
}

const gives = (card: Card) => card.value !== null && card.kind !== "commentary" && card.kind !== "no-value";

/** A value with the card that it stands in. */
export const foundIn = <T>(card: Card, value: T): Found<T> => ({
  value,
  from: { keyword: card.keyword, offsetBytes: card.offsetBytes },
  keyword: card.keyword,
  comment: card.comment,
});

/** Numbers by more than a thousandth; names by more than case, blanks and hyphens. */
function differ(one: string | number, other: string | number): boolean {
  if (typeof one === "number" && typeof other === "number")
    return Math.abs(one - other) > 1e-3 * Math.max(Math.abs(other), 1e-9);
  const bare = (text: string | number) =>
    String(text)
      .toLowerCase()
      .replace(/[\s_-]/g, "");
  return bare(one) !== bare(other);
}
