import { parseCard } from "../../src/read/cards.js";
import { Header } from "../../src/read/header.js";

/** A header of the given cards, each as it would stand in a file. */
export const headerOf = (...cards: readonly string[]): Header =>
  new Header(
    "test.fits",
    cards.map((card, index) => parseCard(card.padEnd(80), index * 80)),
    0,
    2880,
  );
