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

/** A value from a card, with the card's comment. */
export interface Found<T> extends Fact<T> {
  readonly keyword: string;
  readonly comment: string;
}

/** Looks facts up in headers and in what the user gave, and collects notes. */
export interface Look {
  /** Cards of these keywords that give a value, in the order of the keywords, own header before primary. */
  cards(keywords: readonly string[]): Card[];
  /** The first number; text that holds a number counts. */
  number(keywords: readonly string[], allowed?: (n: number) => boolean): Found<number> | null;
  /** The first text that is not empty; a number counts as its digits. */
  text(keywords: readonly string[]): Found<string> | null;
  given<K extends keyof GivenValues>(key: K): Fact<NonNullable<GivenValues[K]>> | null;
  note(text: string): void;
  /** Notes that a given value differs from the header's by more than a thousandth. */
  contradicts(given: Fact<number> | null, read: Fact<number> | null, what: string): void;
}

export function lookIn(
  headers: readonly Header[],
  given: readonly { readonly from: GivenFrom; readonly values: GivenValues }[],
  notes: string[],
): Look {
  const cards = (keywords: readonly string[]) => {
    const found: Card[] = [];
    for (const keyword of keywords)
      for (const header of headers) {
        const own = header
          .all(keyword)
          .filter((card) => card.value !== null && card.kind !== "commentary" && card.kind !== "no-value");
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
  const found = <T>(card: Card, value: T): Found<T> => ({
    value,
    from: { keyword: card.keyword, offsetBytes: card.offsetBytes },
    keyword: card.keyword,
    comment: card.comment,
  });
  return {
    cards,
    number(keywords, allowed = () => true) {
      for (const card of cards(keywords)) {
        const plain = typeof card.value === "string" ? card.value.trim() : card.value;
        if (plain === "" || typeof plain === "boolean" || typeof plain === "object") continue;
        const n = Number(plain);
        if (Number.isFinite(n) && allowed(n)) return found(card, n);
      }
      return null;
    },
    text(keywords) {
      for (const card of cards(keywords)) {
        const text = typeof card.value === "boolean" || typeof card.value === "object" ? "" : String(card.value).trim();
        if (text !== "") return found(card, text);
      }
      return null;
    },
    given(key) {
      const last = given.findLast(({ values }) => values[key] !== undefined);
      return last === undefined ? null : factOf(last.values[key]!, { given: last.from });
    },
    note: (text) => void notes.push(text),
    contradicts(givenFact, read, what) {
      if (givenFact === null || read === null) return;
      if (Math.abs(givenFact.value - read.value) > 1e-3 * Math.max(Math.abs(read.value), 1e-9))
        notes.push(`${what} given as ${givenFact.value}, the header says ${read.value}`);
    },
  };
}
