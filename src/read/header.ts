import { FitsError } from "../terms/errors.js";
import { type Card, cardBytes, parseCard, parseContinue } from "./cards.js";
import { type ByteSource, slice } from "./file-bytes.js";

export const blockBytes = 2880;
const copyAgain = "Copy the file again or leave it out";
/** A header larger than this is not a header: 100,000 cards. */
const mostHeaderBytes = 100_000 * cardBytes;

/** The keyword records of one HDU, in order, with look-up by keyword. */
export class Header {
  readonly cards: readonly Card[];
  /** Byte of the file at which the header starts. */
  readonly offsetBytes: number;
  /** Length with padding, a multiple of 2880. */
  readonly lengthBytes: number;
  readonly #first: ReadonlyMap<string, Card>;
  readonly #file: string;

  constructor(file: string, cards: readonly Card[], offsetBytes: number, lengthBytes: number) {
    this.cards = cards;
    this.offsetBytes = offsetBytes;
    this.lengthBytes = lengthBytes;
    this.#file = file;
    const first = new Map<string, Card>();
    for (const card of cards) {
      const old = first.get(card.keyword);
      if (old === undefined || !gives(old)) first.set(card.keyword, card);
    }
    this.#first = first;
  }

  /** The first card of that keyword that gives a value, else the first of that keyword. Commentary cards do not count. */
  get(keyword: string): Card | undefined {
    const card = this.#first.get(keyword);
    return card?.kind === "commentary" ? undefined : card;
  }

  /** All cards of that keyword; more than one with different values means that the keyword is undecided (4.1.2.3). */
  all(keyword: string): Card[] {
    return this.cards.filter((card) => card.keyword === keyword);
  }

  /**
   * An integer that the file's structure depends on.
   * @throws FitsError when it is absent (without `otherwise`), not an integer, or out of range
   */
  integer(keyword: string, { min, max, otherwise }: { min: number; max: number; otherwise?: number }): number {
    const card = this.get(keyword);
    if (card === undefined || card.kind === "undefined") {
      if (otherwise !== undefined) return otherwise;
      throw this.error(undefined, `${keyword} is missing`);
    }
    const value = card.kind === "real" && Number.isInteger(card.value) ? Number(card.value) : card.value;
    if (typeof value !== "number" || (card.kind !== "integer" && card.kind !== "real") || !Number.isInteger(value))
      throw this.error(card, `${keyword} is ${shown(card)}, not an integer`);
    if (value < min || value > max) throw this.error(card, `${keyword} is ${value}, expected ${min} to ${max}`);
    return value;
  }

  /** A number, or `otherwise` where the header gives none. Text is not a number here: dialects.ts is lenient, this is not. */
  number(keyword: string, otherwise: number): number {
    const card = this.get(keyword);
    if (card?.kind !== "integer" && card?.kind !== "real") return otherwise;
    return Number(card.value);
  }

  /** A text, or undefined where the header gives none. */
  text(keyword: string): string | undefined {
    const card = this.get(keyword);
    return card?.kind === "string" ? (card.value as string) : undefined;
  }

  /** An error at a byte of the data unit that belongs to this header. */
  errorAt(offsetBytes: number, problem: string, remedy = copyAgain, cause?: unknown): FitsError {
    return new FitsError({ file: this.#file, offsetBytes }, problem, remedy, cause);
  }

  /** An error at a card of this header, or at its start. */
  error(card: Card | undefined, problem: string, remedy = copyAgain, cause?: unknown): FitsError {
    const at = {
      file: this.#file,
      offsetBytes: card?.offsetBytes ?? this.offsetBytes,
      ...(card && { card: card.keyword }),
    };
    return new FitsError(at, problem, remedy, cause);
  }
}

const gives = (card: Card) => card.value !== null && card.kind !== "no-value";
const shown = (card: Card) => (card.kind === "unparsable" ? card.comment.trim() : JSON.stringify(String(card.value)));

/**
 * Reads the header that starts at a byte. It costs one small read, and one more for each that doubles it.
 * @throws FitsError when the file ends, or no END card is found
 */
export function readHeader(source: ByteSource, offsetBytes: number): Header {
  const cards: Card[] = [];
  let readAhead = 2 * blockBytes;
  for (let at = offsetBytes; ; ) {
    const piece = slice(source, at, readAhead);
    for (let block = 0; block + cardBytes <= piece.length; block += cardBytes) {
      const text = latin1(piece, block, block + cardBytes);
      if (isEnd(text)) {
        const end = at + block + cardBytes;
        const lengthBytes = Math.ceil((end - offsetBytes) / blockBytes) * blockBytes;
        return new Header(source.name, joinContinued(cards), offsetBytes, lengthBytes);
      }
      cards.push({ ...parseCard(text, at + block), raw: text } as Card);
    }
    at += piece.length;
    if (piece.length < readAhead || at - offsetBytes > mostHeaderBytes)
      throw new FitsError(
        { file: source.name, offsetBytes: Math.min(at, source.lengthBytes) },
        "the header has no END card",
        "The file was cut short or is not FITS; copy it again or leave it out",
      );
    readAhead = Math.min(readAhead * 2, 1 << 20);
  }
}

/** END with anything behind it is seen in real files; a keyword like ENDTIME is not END. */
const isEnd = (text: string) =>
  text.startsWith("END") && (text.slice(3, 8).trimEnd() === "" || /^\0*\s*$/.test(text.slice(3)));

/** Text beyond ASCII breaks the standard but is common: UTF-8 where the bytes are that, else Latin-1. */
function readable(text: string): string {
  if (!/[\x80-\xff]/.test(text)) return text;
  try {
    return new TextDecoder("utf-8", { fatal: true }).decode(Buffer.from(text, "latin1"));
  } catch {
    return text;
  }
}

/** Joins CONTINUE records to the string that ends in "&" before them; an orphan stays as commentary. */
function joinContinued(cards: readonly Card[]): Card[] {
  const joined: Card[] = [];
  let open: Card | undefined; // the string card that still ends in "&"
  for (const { raw, ...card } of cards as readonly (Card & { raw: string })[]) {
    const more: ReturnType<typeof parseContinue> = open === undefined ? null : parseContinue(raw);
    if (open !== undefined && more !== null) {
      const comment: string = more.comment === "" ? open.comment : `${open.comment} ${more.comment}`.trim();
      const value: string = (open.value as string).slice(0, -1) + more.value;
      open = { ...open, value, comment };
      joined[joined.length - 1] = open;
      if (!more.value.endsWith("&")) open = undefined;
      continue;
    }
    const value = typeof card.value === "string" ? readable(card.value) : card.value;
    const plain = { ...card, value, comment: readable(card.comment) };
    if (card.keyword === "CONTINUE") joined.push({ ...card, kind: "commentary", value: raw.slice(8).trimEnd() });
    else joined.push(plain);
    open = card.kind === "string" && (card.value as string).endsWith("&") ? plain : undefined;
  }
  return joined;
}

/** One character a byte, so that offsets stay right; characters beyond ASCII come out as Latin-1. */
export function latin1(bytes: Uint8Array, from: number, to: number): string {
  let text = "";
  for (let at = from; at < to; at++) text += String.fromCharCode(bytes[at]!);
  return text;
}
