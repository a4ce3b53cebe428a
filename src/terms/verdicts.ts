/** What a sub is worth to the stack. `unjudged`: too few comparable subs, or not a light frame. */
export const verdicts = ["keep", "borderline", "drop", "unjudged"] as const;
export type Verdict = (typeof verdicts)[number];

/** What kind of exposure a file holds. `other`: an image that says it is something else (for example a preview). */
export const frameKinds = ["light", "dark", "flat", "bias", "dark-flat", "other", "unreadable"] as const;
export type FrameKind = (typeof frameKinds)[number];

/** What a filter lets through, as far as planning needs to know. */
export const filterKinds = ["broadband", "narrowband", "dual-band", "none", "unknown"] as const;
export type FilterKind = (typeof filterKinds)[number];
