import type { Remaining } from "../plan/remaining.js";
import type { NightWindow, NoWindow } from "../plan/windows.js";
import { digits } from "./digits.js";

/** The caution that goes with every plan. */
export const sunCaution = "Never point a telescope at or near the Sun; check the window on the spot.";

const noWindow: Readonly<Record<NoWindow, string>> = {
  "sun-stays-above": "it does not get dark enough",
  "target-never-rises": "the target never rises at this place",
  "target-stays-below-limit": "the target never reaches that altitude at this place",
  "target-not-up-while-dark": "the target is not up while it is dark",
};
const shownNights = 10;

/** The coming nights as text: what stands in the way, or one line a night. */
export function windowLines({ windows, path, minAltitudeDeg }: Remaining): string[] {
  const open = windows.filter(({ hours }) => hours > 0);
  const lines = [...pathLines(path, minAltitudeDeg)];
  if (open.length === 0) return [...lines, ...reasonLines(windows), `  ${sunCaution}`];
  const shown = open.slice(0, shownNights);
  lines.push(
    "  nights (UTC)        from    to      hours  worth  best       Moon lit  Moon up  nearest",
    ...shown.map(nightLine),
  );
  if (open.length > shown.length) lines.push(`    and ${open.length - shown.length} more; --ics FILE writes them all`);
  if (open.length < windows.length)
    lines.push(`    ${windows.length - open.length} of the ${windows.length} nights have none: ${reasonsOf(windows)}`);
  return [...lines, `  ${sunCaution}`];
}

function pathLines(path: Remaining["path"], minAltitudeDeg: number): string[] {
  if (path?.always !== "up") return [];
  const high = path.lowestDeg > minAltitudeDeg ? `, always above ${digits(minAltitudeDeg)} degrees` : "";
  return [
    `  the target never sets at this place (${path.lowestDeg.toFixed(0)} to ${path.highestDeg.toFixed(0)} degrees${high})`,
  ];
}

function reasonLines(windows: readonly NightWindow[]): string[] {
  const bright = windows.filter(({ because }) => because === "sun-stays-above");
  const sun = Math.min(...bright.map(({ darkestSunDeg }) => darkestSunDeg));
  const more = sun > 0 ? "the Sun does not set" : `the Sun sinks to ${digits(sun)} degrees at most`;
  // Nothing is planned with the Sun above -6 degrees.
  const remedy = sun < -6 ? "; --sun-below allows more" : "";
  return [
    `  no window in ${windows.length} night${windows.length === 1 ? "" : "s"}: ${reasonsOf(windows)}${bright.length > 0 ? ` (${more}${remedy})` : ""}`,
  ];
}

/** Why nights have no window; with counts when it is not the same for all. */
function reasonsOf(windows: readonly NightWindow[]): string {
  const counts = new Map<NoWindow, number>();
  for (const { because } of windows) if (because !== null) counts.set(because, (counts.get(because) ?? 0) + 1);
  const several = counts.size > 1;
  return [...counts]
    .sort(([, a], [, b]) => b - a)
    .map(([because, n]) => `${noWindow[because]}${several ? ` (${n} nights)` : ""}`)
    .join("; ");
}

function nightLine(night: NightWindow): string {
  const { noonMs, stretches, hours, effectiveHours, best, moonIllumination, moonUpHours } = night;
  const ends = `${clock(stretches[0].startMs)}   ${clock(stretches[stretches.length - 1].endMs)}`;
  const least = night.leastMoonSeparationDeg;
  const nearest = Number.isNaN(least) ? "-" : `${least.toFixed(0)} deg`;
  const lit = `${(100 * moonIllumination).toFixed(0)} %`.padStart(8);
  return `    ${new Date(noonMs).toISOString().slice(0, 10)}        ${ends}   ${hours.toFixed(1).padStart(5)}  ${effectiveHours.toFixed(1).padStart(5)}  ${clock(best!.startMs)}-${clock(best!.endMs)}  ${lit}  ${`${moonUpHours.toFixed(1)} h`.padStart(7)}  ${nearest.padStart(7)}${stretches.length > 1 ? `  in ${stretches.length} parts` : ""}${hours > 23 ? "  dark all day" : ""}`;
}

const clock = (ms: number) => new Date(ms).toISOString().slice(11, 16);
