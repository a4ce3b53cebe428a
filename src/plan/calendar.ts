import { CallError } from "../terms/errors.js";

/** One entry of a calendar. */
export interface CalendarEvent {
  readonly startMs: number;
  readonly endMs: number;
  readonly title: string;
  readonly description?: string;
  /** Unique and the same every time, so that a second import replaces the first. */
  readonly uid: string;
}

/**
 * Events as an iCalendar file (RFC 5545), times in UTC.
 * @param stampMs - when the file was made
 * @throws CallError when an event ends before it starts
 * @example
 * ```ts
 * import { iCalendar } from "nightyield";
 * const startMs = Date.UTC(2026, 2, 14, 20);
 * const event = { startMs, endMs: startMs + 3_600_000, title: "NGC 281 Ha", description: "one hour", uid: "1@garden" };
 * console.log(iCalendar([event], startMs).length);
 * ```
 */
export function iCalendar(events: readonly CalendarEvent[], stampMs: number): string {
  const lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//nightyield//plan//EN", "CALSCALE:GREGORIAN"];
  for (const { startMs, endMs, title, description, uid } of events) {
    if (!(endMs > startMs)) throw new CallError(`The calendar entry ${title} ends before it starts`);
    lines.push("BEGIN:VEVENT", `UID:${escaped(uid)}`, `DTSTAMP:${utc(stampMs)}`);
    lines.push(`DTSTART:${utc(startMs)}`, `DTEND:${utc(endMs)}`, `SUMMARY:${escaped(title)}`);
    if (description !== undefined) lines.push(`DESCRIPTION:${escaped(description)}`);
    lines.push("END:VEVENT");
  }
  lines.push("END:VCALENDAR");
  return lines.map((line) => `${folded(line)}\r\n`).join("");
}

/** Section 3.3.5, form 2. */
const utc = (ms: number) => new Date(ms).toISOString().replace(/[-:]|\.\d+/g, "");

/** Section 3.3.11; other control characters have no place in a text (3.1). */
const escaped = (text: string) =>
  text
    .replace(/[\\;,]/g, "\\$&")
    .replace(/\r\n?|\n/g, "\\n")
    .replace(/\p{Cc}/gu, " ");

/** Section 3.1: at most 75 octets a line, never within a character. */
function folded(line: string): string {
  const parts: string[] = [];
  let part = "";
  let octets = 0;
  for (const char of line) {
    const size = new TextEncoder().encode(char).length;
    if (octets + size > 75) {
      parts.push(part);
      part = " ";
      octets = 1;
    }
    part += char;
    octets += size;
  }
  parts.push(part);
  return parts.join("\r\n");
}
