import type { CauseCode } from "../terms/causes.js";
import { anyKind, number, type Of, object, oneOf, text, whole } from "./json-shape.js";

/** When: minutes after the night's start, with a soft or sudden beginning and end. */
const span = {
  fromMin: number("onset, minutes after the start of the night", -1440, 1440, 0),
  toMin: number("end, minutes after the start of the night", -1440, 2880, 2880),
  riseMin: number("minutes from nothing to full strength", 0, 1440, 0),
  fallMin: number("minutes from full strength to nothing, before the end", 0, 1440, 0),
};
const direction = number("direction from +x towards +y of the frame", -360, 360, 0);
const atFrame = { frame: whole("number of the frame within the night, from 0", 0, 100_000) };

/** Everything that can happen to a night. `from/to` spans have an onset, a course and a strength. */
export const eventShape = anyKind("an event", {
  cloud: object("patches of cloud that drift through the field", {
    ...span,
    dimmingMag: number("mean dimming at full strength", 0, 10, 0.8),
    patchiness: number("0: an even sheet; 1: single clouds with gaps", 0, 1, 0.6),
    patchArcmin: number("size of a patch", 1, 600, 40),
    windArcminPerMin: number("how fast the patches move", 0, 600, 20),
    brightening: number("sky light thrown back by an opaque cloud, times the dark sky", 0, 20, 1.8),
  }),
  haze: object("an even veil", {
    ...span,
    dimmingMag: number("dimming at full strength", 0, 5, 0.3),
    brightening: number("sky light thrown back by an opaque veil, times the dark sky", 0, 20, 1.6),
  }),
  dew: object("moisture that settles on the optics until it is wiped or heated away", {
    ...span,
    dimmingMag: number("loss of light at full strength", 0, 5, 0.8),
    widening: number("factor on the width of the stars at full strength", 1, 4, 1.35),
    haloBeta: number("Moffat exponent at full strength: lower is more halo", 1.3, 10, 1.9),
  }),
  "focus-drift": object("the focus moves away, by the hour or with the temperature of the air, until it is set again", {
    ...span,
    blurPxPerHour: number("growth of the blur disk's diameter by time", -100, 100, 0),
    blurPxPerC: number("growth of the blur disk's diameter by cooling of the air", -100, 100, 0),
    refocusMin: number(
      "minutes after the start at which the focus is set again; beyond the night: never",
      0,
      2880,
      2880,
    ),
  }),
  wind: object("gusts that shake the telescope while it exposes", {
    ...span,
    shakePx: number("standard deviation of the movement in a gust", 0, 100, 2),
    share: number("part of the frames that meet a gust", 0, 1, 0.5),
    angleDeg: direction,
  }),
  "tracking-drift": object("the mount runs away from the target at a steady rate", {
    ...span,
    pxPerMin: number("rate", 0, 1000, 2),
    angleDeg: direction,
  }),
  bump: object("someone knocks the telescope: one frame with two images, and the field stays displaced", {
    atMin: number("minutes after the start of the night", 0, 2880),
    shiftPx: number("displacement", 0, 10_000, 12),
    angleDeg: direction,
  }),
  "pointing-jump": object("the telescope points somewhere else for a while", {
    ...span,
    shiftPx: number("displacement", 0, 100_000, 150),
    angleDeg: direction,
  }),
  obstruction: object("a roof or a tree moves into the field", {
    ...span,
    side: oneOf("the side from which it comes", ["top", "bottom", "left", "right"], "bottom"),
    coverage: number("part of the frame that it covers at full strength", 0, 1, 0.5),
    softPx: number("softness of its edge: it is out of focus", 0, 1000, 12),
    ragged: number("0: a roof; 1: a tree", 0, 1, 0),
    brightness: number("its own brightness, times the dark sky", 0, 10, 0.35),
  }),
  satellites: object("satellites cross the field", {
    ...span,
    perHour: number("crossings an hour of exposure", 0, 3600, 6),
    electronsPerPx: number("light along the line, electrons a pixel of length", 1, 1e7, 400),
  }),
  aircraft: object("aircraft cross the field: two dotted lines with flashes", {
    ...span,
    perHour: number("crossings an hour of exposure", 0, 3600, 1),
    electronsPerPx: number("light along the lines, electrons a pixel of length", 1, 1e7, 4000),
  }),
  "fan-off": object("the cooling stops and the sensor warms", {
    ...span,
    warmerC: number("how much warmer it gets in the end", 0, 80, 15),
    timeConstantMin: number("time constant of the warming", 0.1, 600, 15),
  }),
  "filter-change": object("another filter for a while, as planned", { ...span, filter: text("name of the filter") }),
  "wrong-filter": object("a filter that does not suit the object, for a while", {
    ...span,
    filter: text("name of the filter"),
  }),
  "truncated-file": object("a file that was cut short", {
    ...atFrame,
    keptFraction: number("part of the file that is there", 0, 0.999, 0.6),
  }),
  "empty-file": object("a file of zero bytes", atFrame),
  "foreign-file": object("a file that is not FITS in spite of its name", {
    ...atFrame,
    content: oneOf("what it is", ["text", "zeros", "picture"], "text"),
  }),
  "duplicated-file": object("a frame that is there twice, under two names", atFrame),
  "stray-dark": object("a dark frame among the subs, before the frame given", atFrame),
  "stray-flat": object("a flat frame among the subs, before the frame given", atFrame),
});

export type Event = Of<typeof eventShape>;
export type EventKind = Event["kind"];
export type EventOf<K extends EventKind> = Extract<Event, { readonly kind: K }>;

/** What each event, and each condition that is no event, counts as when causes are scored. */
export const causeOfLabel = {
  cloud: "cloud",
  haze: "cloud",
  dew: "dew",
  "focus-drift": "focus",
  wind: "wind",
  "tracking-drift": "tracking",
  bump: "tracking",
  "pointing-jump": "tracking",
  obstruction: "obstruction",
  satellites: "satellite-or-aircraft",
  aircraft: "satellite-or-aircraft",
  "fan-off": "warm-sensor",
  "filter-change": "unknown",
  "wrong-filter": "unknown",
  "truncated-file": "bad-file",
  "empty-file": "bad-file",
  "foreign-file": "bad-file",
  "duplicated-file": "bad-file",
  "stray-dark": "unknown",
  "stray-flat": "unknown",
  twilight: "twilight",
  moonlight: "moonlight",
  "low-altitude": "low-altitude",
  "field-rotation": "field-rotation",
  seeing: "unknown",
} as const satisfies Record<
  EventKind | "twilight" | "moonlight" | "low-altitude" | "field-rotation" | "seeing",
  CauseCode
>;
/** An event's kind, or one of the conditions that come by themselves with the time of night. */
export type Label = keyof typeof causeOfLabel;

/** How far an event has developed: 0 before and after, 1 at full strength, straight lines between. */
export function strengthAt(
  event: { fromMin: number; toMin: number; riseMin: number; fallMin: number },
  minute: number,
): number {
  if (minute < event.fromMin || minute > event.toMin) return 0;
  const rise = event.riseMin > 0 ? (minute - event.fromMin) / event.riseMin : 1;
  const fall = event.fallMin > 0 ? (event.toMin - minute) / event.fallMin : 1;
  return Math.max(0, Math.min(1, rise, fall));
}
