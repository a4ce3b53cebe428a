import type { Symptom } from "../terms/symptoms.js";
import { symptomRegistry } from "../terms/symptoms.js";
import { type Verdict, verdicts } from "../terms/verdicts.js";
import { chartRows } from "./chart-rows.js";
import { quantitiesTable, timelineTable } from "./chart-tables.js";
import { quantitiesFigure, timelineFigure } from "./charts.js";
import { driverCharts, driverSentences } from "./driver-section.js";
import { episodesTable } from "./episode-chart.js";
import { frontierCharts } from "./frontier-section.js";
import { escapeHtml, proseHtml, scriptJson } from "./html.js";
import { leftOf } from "./left.js";
import { calendarCharts, leftSection } from "./left-section.js";
import type { NightResult } from "./night-result.js";
import { chartColumns, chartSection, type PageChart } from "./page-chart.js";
import { pageScript } from "./page-script.js";
import { pageStyle } from "./page-style.js";
import { picturesSection } from "./pictures-section.js";
import { plotlyScript } from "./plotly-script.js";
import type { ReportPictures } from "./report-pictures.js";
import { ribbonSvg } from "./ribbon.js";
import { headline, storyParagraphs } from "./story.js";
import { firstRows, groupsTable, type Subs, subsData, subsOf, subsTable } from "./table-html.js";
import { verdictLooks } from "./verdict-look.js";
import { nextTimeLines, whyLines } from "./why.js";
import { countWords, dayWords, purposeWords, sentence, sentenceEnd, symptomWords, verdictWords } from "./words.js";

/** The browser itself is told to load nothing: the page holds all it needs. */
const policy = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:";

/** What a report may be given besides the night. */
export interface ReportOptions {
  /** Pictures of subs, as `reportPictures` makes them; the page is made without reading any file. */
  readonly pictures?: ReportPictures;
}

/**
 * The night as one self-contained page that opens without a network: the story first, with what is left to do, then
 * charts with the same figures as text, pictures, groups, every sub with its reasons, and how the numbers were made. The
 * observer's place is shown to 0.1 degree.
 * @returns HTML, about 5 MB (most of it the chart library)
 * @example
 * ```ts
 * import { openNight, reportHtml } from "nightyield";
 * console.log(reportHtml(await openNight("nightyield-out/march14")).length, "characters");
 * ```
 */
export function reportHtml(night: NightResult, { pictures }: ReportOptions = {}): string {
  const subs = subsOf(night);
  const left = leftOf(night);
  const clock = clockCharts(night);
  // Without light frames there is nothing to draw.
  const drivers = clock.length === 0 ? [] : driverCharts(night.explanation.drivers);
  const cuts = frontierCharts(night);
  const coming = calendarCharts(left);
  const charts = [...clock, ...drivers, ...cuts, ...coming];
  const title = night.folders.join(", ");
  const figures = Object.fromEntries(charts.map(({ id, figure: { data, layout } }) => [id, { data, layout }]));
  return `<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="${policy}"><meta name="color-scheme" content="light dark">
<title>${escapeHtml(title)} \u2013 nightyield</title><link rel="icon" href="data:,"><style>${pageStyle}</style><noscript><style>.chart { display: none; }</style></noscript></head>
<body><main>
<header><h1>${escapeHtml(title)}</h1><p class="soft">${escapeHtml(whenAndWhere(night))}</p></header>
<p class="lead">${proseHtml(headline(night))}</p>
${ribbonSvg(night)}
<section class="story"><div class="happened">${storyParagraphs(night)
    .map((sentences) => `<p>${proseHtml(sentences.join(" "))}</p>`)
    .join("\n")}
${night.notes.map((note) => `<p class="soft">${escapeHtml(sentence(note))}</p>`).join("\n")}
${attention(night)}</div>
${whySection(night)}</section>
${leftSection(left)}
${clock.map((chart) => chartSection(chart)).join("\n")}
${pictures === undefined ? "" : picturesSection(pictures)}
${driversSection(night, drivers)}
${several("Other cuts", "What the stack of each group would gain and lose if more subs, or only the best, were stacked. Depth is that of faint extended light.", cuts)}
${several("When to go on", "", coming)}
<section><h2>Groups</h2><p class="soft">Subs are compared only within their group: one target, filter, exposure, gain and image size. \u201cWorth\u201d is the exposure that would go as deep under the best conditions of the group.</p>${groupsTable(night)}</section>
${subsSection(subs)}
${methods(night)}
<footer class="soft"><p>Made with nightyield ${escapeHtml(night.version)}. The files were only read; none was altered.</p></footer>
</main>
<script type="application/json" id="figures-data">${scriptJson(figures)}</script>
<script type="application/json" id="subs-data">${scriptJson(subsData(subs))}</script>
${charts.length === 0 ? "" : `<script type="text/plain" id="chart-library">${plotlyScript()}</script>`}
<script>${pageScript}</script>
</body></html>
`;
}

/** Charts under a heading of their own. */
const several = (title: string, about: string, charts: readonly PageChart[]): string =>
  charts.length === 0
    ? ""
    : `<section><h2>${title}</h2>${about === "" ? "" : `<p class="soft">${about}</p>`}
${chartColumns(charts)}</section>`;

/** What quality goes with, and what cannot be told apart. */
function driversSection({ explanation }: NightResult, charts: readonly PageChart[]): string {
  const { drivers } = explanation;
  if (drivers.because === "too-few-subs" && charts.length === 0) return "";
  return `<section><h2>What quality goes with</h2>
${driverSentences(drivers)}
${chartColumns(charts)}</section>`;
}

function whenAndWhere({ table, site }: NightResult): string {
  const { rows, onClock } = chartRows(table);
  const parts: string[] = [];
  if (onClock) {
    const [first, last] = [table.startUtc[rows[0]!]!, table.startUtc[rows.at(-1)!]!];
    const sameDay = first.slice(0, 10) === last.slice(0, 10);
    parts.push(
      `${dayWords(first)}, ${first.slice(11, 16)} to ${sameDay ? "" : `${dayWords(last)}, `}${last.slice(11, 16)} UTC`,
    );
  }
  // A page gets shared: a tenth of a degree does not show whose garden it is.
  if (site !== null) {
    const [north, east] = [site.latitudeDeg, site.longitudeDeg > 180 ? site.longitudeDeg - 360 : site.longitudeDeg];
    parts.push(
      `near ${Math.abs(north).toFixed(1)}\u00b0 ${north < 0 ? "S" : "N"}, ${Math.abs(east).toFixed(1)}\u00b0 ${east < 0 ? "W" : "E"}`,
    );
  }
  return parts.join(" \u00b7 ");
}

/** What spoiled the night, and what to change: the answer that a list of bad subs is not. */
function whySection({ explanation }: NightResult): string {
  const list = (title: string, lines: readonly string[]) =>
    lines.length === 0
      ? ""
      : `<h2 class="small">${title}</h2><ul class="told">${lines.map((line) => `<li>${proseHtml(line)}</li>`).join("\n")}</ul>`;
  const told = `${list("What spoiled the subs", whyLines(explanation))}${list("Next time", nextTimeLines(explanation))}`;
  return told === "" ? "" : `<div class="why">${told}</div>`;
}

/** Files that could not be read, with what to do; then whatever else needs the user. */
function attention({ table, symptomsOfRow, attention: lines }: NightResult): string {
  const broken = symptomsOfRow.flatMap((symptoms, row) =>
    symptoms.flatMap((symptom: Symptom) =>
      symptom.code === "unreadable" ? [{ file: table.file[row]!, symptom }] : [],
    ),
  );
  // The pipeline says the same of unreadable files in its own words.
  const said = (line: string) =>
    broken.some(
      ({ file, symptom }) => symptom.code === "unreadable" && line.includes(file) && line.includes(symptom.problem),
    );
  const others = lines.filter((line) => !said(line));
  const most = 12;
  const items = broken
    .slice(0, most)
    .map(
      ({ file, symptom }) => `<li><b>${escapeHtml(file)}</b>, ${escapeHtml(sentenceEnd(symptomWords(symptom)))}</li>`,
    );
  if (broken.length > most) items.push(`<li>${broken.length - most} more; the table of subs names them.</li>`);
  if (items.length + others.length === 0) return "";
  const unreadable =
    broken.length === 0
      ? ""
      : `<h2 class="small">${countWords(broken.length, "file")} could not be read</h2><ul>${items.join("\n")}</ul>`;
  const rest =
    others.length === 0
      ? ""
      : `<h2 class="small">Needs attention</h2><ul>${others
          .slice(0, most)
          .map((line) => `<li>${escapeHtml(sentence(line))}</li>`)
          .join("\n")}</ul>`;
  return `<div class="attention" role="note">${unreadable}${rest}</div>`;
}

function legend({ table }: NightResult, extra = ""): string {
  const present = verdicts.filter((verdict) =>
    table.verdict.some((value, row) => value === verdict && table.kind[row] === "light"),
  );
  return `<ul class="legend">${present
    .map(
      (verdict: Verdict) =>
        `<li title="${verdictWords[verdict]}"><span class="${verdict}">${verdictLooks[verdict].sign}</span> ${verdict}</li>`,
    )
    .join("")}${extra}</ul>`;
}

/** The night along the clock: conditions and verdicts, then what was measured. */
function clockCharts(night: NightResult): PageChart[] {
  const { table, explanation } = night;
  const { rows, onClock } = chartRows(table);
  const charts: PageChart[] = [];
  const timeline = timelineFigure(night);
  if (timeline !== null) {
    const hasMoon = rows.some((row) => table.moonAltitudeDeg[row]! >= 0);
    const shaded = onClock && rows.some((row) => Number.isFinite(table.sunAltitudeDeg[row]));
    const spoiled = explanation.episodes.length > 0;
    charts.push({
      id: "timeline",
      title: "The night along the clock",
      about: `${spoiled ? "Where the target stood, what was photographed, and what most likely spoiled subs." : "Where the target stood and what was photographed."}${shaded ? " The background is shaded by how far the Sun was below the horizon." : ""}`,
      figure: timeline,
      table: `${timelineTable(night)}${spoiled ? episodesTable(night) : ""}`,
      legend: legend(night, hasMoon ? '<li><span class="moon"></span> altitude of the Moon</li>' : ""),
      onClock: true,
      extra:
        ' <span class="screen">Point at a mark for its file and reasons.</span> <span class="screen mouse">Drag across a chart to look closer, double-click to go back.</span>',
    });
  }
  const quantities = quantitiesFigure(night);
  if (quantities !== null)
    charts.push({
      id: "quantities",
      title: "What was measured",
      about: "Each sub\u2019s stars and sky along the same clock. Groups share the chart but are judged apart.",
      figure: quantities,
      table: quantitiesTable(night),
      legend: legend(night),
      onClock: true,
    });
  return charts;
}

function subsSection(subs: Subs): string {
  const total = subs.verdicts.length;
  const count = (verdict: Verdict) => subs.verdicts.filter((value) => value === verdict).length;
  const choices = verdicts
    .filter((verdict) => count(verdict) > 0)
    .map(
      (verdict) =>
        `<button type="button" value="${verdict}" aria-pressed="false">${verdictLooks[verdict].sign} ${verdict} ${count(verdict)}</button>`,
    );
  return `<section><h2>Every file, with its reasons</h2>
<p class="soft"><span class="screen">A click on a heading sorts.</span> The verdict is one of: ${verdicts.map((verdict) => `<b>${verdict}</b> \u2013 ${verdictWords[verdict]}`).join("; ")}.</p>
<div class="choices" role="group" aria-label="Which files to show"><button type="button" value="" aria-pressed="true">all ${total}</button>${choices.join("")}</div>
${subsTable(subs)}
<div class="more"><span id="subs-said" role="status">${Math.min(firstRows, total)} of ${countWords(total, "file")} shown.</span> <button type="button" id="subs-more" hidden>Show ${firstRows} more</button><button type="button" id="subs-all" hidden>Show all</button></div>
<noscript><p>Without JavaScript there are no charts, no sorting, and only the first ${firstRows} files; frames.ecsv beside this page holds all of them.</p></noscript></section>`;
}

function methods({ limits }: NightResult): string {
  const symptoms = Object.values(symptomRegistry).map(
    ({ short, long }) => `<dt>${escapeHtml(short)}</dt><dd>${escapeHtml(long)}</dd>`,
  );
  return `<section><h2>How the numbers were made</h2>
<p><b>Background and noise</b> come from clipped histograms of 64-pixel meshes; the camera\u2019s pedestal is still in them. <b>Stars</b> are found with a matched filter above 5 sigma. <b>FWHM</b> is that of Moffat profiles integrated over pixels, so the pixel\u2019s own width is taken out. <b>HFR</b> is the radius that encloses half of a star\u2019s light. <b>Eccentricity</b> is \u221a(1 \u2212 (b/a)\u00b2): 0 is round.</p>
<p><b>Altitudes</b> are those of mid-exposure, seen from the site, without refraction; airmass follows Kasten &amp; Young (1989). Twilight ends when the Sun is 18\u00b0 below the horizon.</p>
<p><b>Purpose.</b> ${escapeHtml(purposeWords(limits))}</p>
<p><b>Verdict.</b> A sub is dropped when it would lower the signal-to-noise ratio of an equal-weight stack, which it does when its normalised variance is more than about twice the mean of the better subs; or when its stars are spoiled. Star widths are compared after the growth of seeing with airmass (X to the power 0.6) is taken out. ${limits.streak.drop > 0 ? "A sub with a streak is dropped, as was asked for." : "A streak alone does not count against a sub: a clipped stack removes it."}</p>
<p><b>Worth</b>, or effective exposure, is the exposure times (T/T\u2080)\u00b2 times B\u2080/B: T is the starlight that came through, B the variance of the background, and 0 the best tenth of the group.</p>
<details><summary>What each reason means</summary><dl>${symptoms.join("\n")}</dl></details></section>`;
}
