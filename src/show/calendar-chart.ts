import type { NightWindow, NoWindow, Stretch } from "../plan/windows.js";
import { chartLabel, type Figure, stacked } from "./chart-panels.js";
import { chartText } from "./chart-rows.js";
import { tableHtml } from "./html.js";
import { durationWords, percentWords } from "./words.js";

type Plain = Readonly<Record<string, unknown>>;

export interface CalendarOptions {
  /** Hours that the clock on the wall is ahead of UTC; 0, UTC, when left out. */
  readonly utcOffsetH?: number;
}

const [dayMs, hourMs] = [86_400_000, 3_600_000];
const rowPx = 20;
/** Times are drawn to five minutes: exact edges of darkness over many nights would tell the observer's place. */
const stepMs = 300_000;
const because: Readonly<Record<NoWindow, string>> = {
  "sun-stays-above": "it does not get dark enough",
  "target-never-rises": "the target never rises",
  "target-stays-below-limit": "the target stays too low",
  "target-not-up-while-dark": "the target is not up while it is dark",
};

/**
 * The coming nights, one a line: when it is dark, when the target is high enough, the stretch to choose, the Moon and the
 * greatest altitude. Null without nights.
 * @example
 * ```ts
 * import { calendarFigure, comingNights } from "nightyield";
 * const windows = comingNights({
 *   site: { latitudeDeg: 48, longitudeDeg: 16, heightM: 200 },
 *   target: { raDeg: 303, decDeg: 38 },
 *   fromMs: Date.parse("2025-10-18T12:00:00Z"),
 *   nights: 7,
 *   minAltitudeDeg: 30,
 * });
 * console.log(calendarFigure(windows)?.data.length);
 * ```
 */
export function calendarFigure(windows: readonly NightWindow[], options: CalendarOptions = {}): Figure | null {
  if (windows.length === 0) return null;
  const hours = windows.map((window) => hoursOf(window, options));
  const used = hours.flatMap(({ dark, stretches }) => [...(dark === null ? [] : [dark]), ...stretches]).flat();
  const [from, to] =
    used.length === 0 ? [18, 30] : [Math.floor(Math.min(...used)) - 0.3, Math.ceil(Math.max(...used)) + 0.3];
  // Room on the right for the Moon and the altitude.
  const wide = (to - from) * 1.34;
  const [moonAt, altitudeAt] = [to + 0.09 * wide, from + wide];
  const bars = (pick: (one: Hours) => readonly (readonly [number, number])[], name: string, style: Plain): Plain => ({
    type: "scatter",
    mode: "lines",
    name,
    x: hours.flatMap((one) => pick(one).flatMap(([a, b]) => [a, b, null])),
    y: hours.flatMap((one, i) => pick(one).flatMap(() => [i, i, null])),
    hoverinfo: "skip",
    connectgaps: false,
    line: style,
  });
  const step = to - from > 9 ? 3 : 2;
  const ticks = Array.from({ length: 24 }, (_, i) => Math.ceil(from / step) * step + i * step).filter((h) => h <= to);
  const labelEvery = Math.max(1, Math.ceil(windows.length / 40));
  const figure = stacked(
    [
      {
        title: "Coming nights",
        heightPx: 34 + rowPx * windows.length,
        axis: {
          range: [windows.length - 0.4, -1.5],
          showgrid: false,
          fixedrange: true,
          tickvals: hours.flatMap((_, i) => (i % labelEvery === 0 ? [i] : [])),
          // The month stands at its first night only: a phone has little room there.
          ticktext: hours.flatMap(({ day }, i) => {
            if (i % labelEvery !== 0) return [];
            const [number, month] = day.split(" ");
            return [hours[i - labelEvery]?.day.endsWith(month!) ? number! : day];
          }),
          tickfont: { size: 11, color: "var(--soft)" },
        },
        traces: [
          bars(({ dark }) => (dark === null ? [] : [dark]), "dark", { width: 12, color: "var(--wide-bar)" }),
          bars(({ stretches }) => stretches, "dark, and the target high enough", { width: 7, color: "var(--lane)" }),
          bars(({ best }) => (best === null ? [] : [best]), "the stretch to choose", {
            width: 3,
            color: "var(--keep)",
          }),
          {
            type: "scatter",
            mode: "markers",
            name: "night",
            x: hours.map(() => (from + to) / 2),
            y: hours.map((_, i) => i),
            text: windows.map((window, i) => nightWords(window, hours[i]!, options).map(chartText).join("<br>")),
            hoverinfo: "text",
            marker: { size: 14, opacity: 0, color: "var(--soft)" },
          },
          moonTrace(windows, moonAt, "circle-open", () => 11),
          moonTrace(windows, moonAt, "circle", ({ moonIllumination }) => 11 * Math.sqrt(moonIllumination)),
        ],
        texts: (yref) => [
          {
            ...chartLabel("Moon", "var(--soft)", 11),
            xref: "x",
            x: moonAt,
            xanchor: "center",
            yref,
            y: -1.05,
            yanchor: "middle",
          },
          {
            ...chartLabel("top", "var(--soft)", 11),
            xref: "x",
            x: altitudeAt,
            xanchor: "right",
            yref,
            y: -1.05,
            yanchor: "middle",
          },
          ...hours.flatMap(({ dark }, i) =>
            dark === null
              ? [
                  {
                    ...chartLabel("not dark", "var(--soft)", 11),
                    xref: "x",
                    x: (from + to) / 2,
                    xanchor: "center",
                    yref,
                    y: i,
                    yanchor: "middle",
                  },
                ]
              : [],
          ),
          ...windows.flatMap(({ highestDeg, because: why }, i) => [
            {
              ...chartLabel(degrees(highestDeg), why === null ? "var(--ink)" : "var(--soft)", 11),
              xref: "x",
              x: altitudeAt,
              xanchor: "right",
              yref,
              y: i,
              yanchor: "middle",
            },
          ]),
        ],
      },
    ],
    {
      range: [from, from + wide],
      tickvals: ticks,
      ticktext: ticks.map((h) => String(((h % 24) + 24) % 24).padStart(2, "0")),
      title: { text: `hour, ${zoneName(options)}`, standoff: 6 },
      fixedrange: true,
    },
    `Wide bar: dark. Bar within it: the target is high enough. Line in the middle: the stretch to choose. On the right the lit part of the Moon, as filled area, and the target\u2019s greatest altitude in the dark. Times are to five minutes.`,
  );
  return figure;
}

interface Hours {
  readonly day: string;
  readonly dark: readonly [number, number] | null;
  readonly stretches: readonly (readonly [number, number])[];
  readonly best: readonly [number, number] | null;
}

const zoneName = ({ utcOffsetH = 0 }: CalendarOptions) =>
  utcOffsetH === 0 ? "UTC" : `UTC${utcOffsetH < 0 ? "\u2212" : "+"}${Math.abs(utcOffsetH)}`;

/** Times as hours since the midnight before the night's noon, by the clock on the wall. */
function hoursOf({ noonMs, dark, stretches, best }: NightWindow, { utcOffsetH = 0 }: CalendarOptions): Hours {
  const offsetMs = utcOffsetH * hourMs;
  const midnightMs = Math.floor((noonMs + offsetMs) / dayMs) * dayMs;
  const hour = (ms: number) => (Math.round((ms + offsetMs) / stepMs) * stepMs - midnightMs) / hourMs;
  const both = ({ startMs, endMs }: Stretch) => [hour(startMs), hour(endMs)] as const;
  const date = new Date(midnightMs);
  return {
    day: `${date.getUTCDate()} ${monthNames[date.getUTCMonth()]}`,
    dark: dark === null ? null : both(dark),
    stretches: stretches.map(both),
    best: best === null ? null : both(best),
  };
}
const monthNames = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");

function moonTrace(
  windows: readonly NightWindow[],
  x: number,
  symbol: string,
  size: (window: NightWindow) => number,
): Plain {
  return {
    type: "scatter",
    mode: "markers",
    name: "Moon",
    x: windows.map(() => x),
    y: windows.map((_, i) => i),
    text: windows.map(({ moonIllumination }) => `Moon ${percentWords(moonIllumination)} lit`),
    hoverinfo: "text",
    cliponaxis: false,
    marker: {
      symbol,
      size: windows.map(size),
      color: "var(--moon)",
      line: { width: symbol === "circle" ? 0 : 1.5, color: "var(--moon)" },
    },
  };
}

const degrees = (deg: number) =>
  Number.isFinite(deg) ? `${deg < -0.5 ? "\u2212" : ""}${Math.abs(Math.round(deg))}\u00b0` : "\u2013";

const clock = (hour: number) => {
  const minutes = Math.round((((hour % 24) + 24) % 24) * 60);
  return `${String(Math.floor(minutes / 60)).padStart(2, "0")}:${String(minutes % 60).padStart(2, "0")}`;
};
const spanWords = ([from, to]: readonly [number, number]) => `${clock(from)} to ${clock(to)}`;

function nightWords(window: NightWindow, { day, dark, stretches }: Hours, options: CalendarOptions): string[] {
  const zone = zoneName(options);
  return [
    `Night of ${day}`,
    dark === null ? "it does not get dark" : `dark ${spanWords(dark)} ${zone}`,
    window.because === null
      ? `target high enough ${stretches.map(spanWords).join(" and ")}: ${durationWords(window.hours * 3600)}, worth ${durationWords(window.effectiveHours * 3600)}`
      : because[window.because],
    `Moon ${percentWords(window.moonIllumination)} lit, up for ${durationWords(window.moonUpHours * 3600)} of it${
      Number.isFinite(window.leastMoonSeparationDeg) ? `, ${Math.round(window.leastMoonSeparationDeg)}\u00b0 away` : ""
    }`,
  ];
}

/**
 * The same nights as a table.
 * @example
 * ```ts
 * import { calendarTable, comingNights } from "nightyield";
 * const windows = comingNights({
 *   site: { latitudeDeg: 48, longitudeDeg: 16, heightM: 200 },
 *   target: { raDeg: 303, decDeg: 38 },
 *   fromMs: Date.parse("2025-10-18T12:00:00Z"),
 *   nights: 7,
 *   minAltitudeDeg: 30,
 * });
 * console.log(calendarTable(windows).includes("<table"));
 * ```
 */
export function calendarTable(windows: readonly NightWindow[], options: CalendarOptions = {}): string {
  return tableHtml(
    `Coming nights, times ${zoneName(options)}`,
    [
      "Night of",
      "Dark",
      "Target high enough",
      "Hours",
      "Worth",
      "Choose",
      "Highest",
      "Moon lit",
      "Moon up",
      "Moon away",
    ],
    windows.map((window) => {
      const { day, dark, stretches, best } = hoursOf(window, options);
      const { highestDeg, moonIllumination, moonUpHours, leastMoonSeparationDeg } = window;
      return [
        day,
        dark === null ? "never" : spanWords(dark),
        window.because === null ? stretches.map(spanWords).join(", ") : because[window.because],
        durationWords(window.hours * 3600),
        durationWords(window.effectiveHours * 3600),
        best === null ? "\u2013" : spanWords(best),
        degrees(highestDeg),
        percentWords(moonIllumination),
        durationWords(moonUpHours * 3600),
        degrees(leastMoonSeparationDeg),
      ];
    }),
  );
}
