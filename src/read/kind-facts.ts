import type { FilterKind, FrameKind } from "../terms/verdicts.js";
import { dialects, filterWords, kindWords, noFilterNamed } from "./dialects.js";
import { type Fact, type Found, factOf, foundIn, type Look } from "./facts.js";

/**
 * What kind of exposure the header says this is; a light frame when nothing says otherwise and it has a length.
 * @param exposureS - NaN when it is not known
 */
export function kindFact(look: Look, exposureS: number): Fact<FrameKind> {
  const said = saidKinds(look);
  const [first] = said;
  if (first !== undefined) {
    const other = said.find(({ value }) => value !== first.value);
    if (other !== undefined)
      look.note(`${first.keyword} says ${first.value}, ${other.keyword} ${other.value}: the first was taken`);
    if (first.value === "light" && exposureS === 0)
      look.note(`${first.keyword} says that this is a light frame, but its exposure is 0 s`);
    return factOf(first.value, first.from);
  }
  const unknown = look.text(dialects.kind);
  if (unknown !== null) {
    look.note(`'${unknown.value}' is no known kind of exposure: taken as a light frame`);
    return factOf("light", unknown.from);
  }
  if (exposureS === 0) {
    look.note("exposure 0 s: taken as a bias frame");
    return factOf("bias", { derived: "exposure of 0 s" });
  }
  const target = look.text(dialects.target)?.value ?? "";
  const named = kindWords.find(([words]) => words.test(target))?.[1];
  if (named !== undefined && /^(?:master[ _-]?)?(?:dark|flat|bias|zero)/i.test(target)) {
    look.note(`no keyword says what kind of exposure this is; its object is '${target}'`);
    return factOf(named, { derived: "name of the object" });
  }
  return factOf("light", { derived: "nothing says otherwise" });
}

/** The kinds that cards name, the card that is believed first. */
function saidKinds(look: Look): Found<FrameKind>[] {
  return look.cards(dialects.kind).flatMap((card) => {
    const text = typeof card.value === "string" ? card.value : "";
    const kind = kindWords.find(([words]) => words.test(text))?.[1];
    return kind === undefined ? [] : [foundIn(card, kind)];
  });
}

/** The filter as the header writes it. Of several wheels, the first that holds more than glass or nothing. */
export function filterFact(look: Look): Fact<string> | null {
  const named = look.cards(dialects.filter).flatMap((card) => {
    const text = typeof card.value === "string" || typeof card.value === "number" ? String(card.value).trim() : "";
    return noFilterNamed.test(text) ? [] : [foundIn(card, text)];
  });
  const found = named.find(({ value }) => filterKindOf(value) !== "none") ?? named[0] ?? null;
  return look.prefer("filter", found, "filter");
}

export function filterKindFact(filter: Fact<string> | null): Fact<FilterKind> {
  if (filter === null) return factOf("unknown", { derived: "no filter is named" });
  return factOf(filterKindOf(filter.value), { derived: "name of the filter" });
}

/**
 * What a filter of that name lets through, by the words of {@link filterWords}. A name that says nothing, like the
 * number of a place in the wheel, is `unknown`.
 */
export function filterKindOf(name: string): FilterKind {
  return filterWords.find(([words]) => words.test(name.trim()))?.[1] ?? "unknown";
}
