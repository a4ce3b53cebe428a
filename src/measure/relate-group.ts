import { fromExactJson, toExactJson } from "../numbers/exact-json.js";
import { keyOf } from "./content-key.js";
import type { StarMatch } from "./match.js";
import type { Matchable } from "./measure-subs.js";
import type { Pool } from "./pool.js";
import { type Relatable, type RelatedGroup, relateSubs } from "./relate-subs.js";
import type { Store } from "./store.js";

/** A sub of a group that can be matched. */
export type GroupSub = Matchable & Pick<Relatable, "starCount" | "fwhmPx" | "airmass" | "streaks" | "blockedFraction">;

/**
 * Relates the subs of a group, in time order. Pairs that the store remembers are not matched again, others are matched
 * by the pool and remembered.
 * @param onPair - called after each pair
 */
export function relateGroup(
  subs: readonly GroupSub[],
  { pool, store, onPair = () => {} }: { readonly pool: Pool; readonly store: Store; readonly onPair?: () => void },
): Promise<RelatedGroup> {
  return relateSubs(subs, async (i, j) => {
    const [sub, reference] = [subs[i], subs[j]];
    const key = keyOf(sub.key, reference.key);
    const remembered = store.find(sub.day, "p", key);
    if (remembered !== null) {
      onPair();
      return fromExactJson(remembered) as StarMatch | null;
    }
    const match = await pool.do({ kind: "match", sub: sideOf(sub), reference: sideOf(reference) });
    store.keep(sub.day, "p", key, toExactJson(match));
    onPair();
    return match;
  });
}

const sideOf = ({ width, height, brightStars, fwhmPx }: GroupSub) => ({ width, height, brightStars, fwhmPx });
