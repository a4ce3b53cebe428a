import type { Drivers } from "../explain/drivers-terms.js";
import { driverLines } from "./causes-words.js";
import { effectsFigure, effectsTable, rejectOddsFigure, rejectRatesFigure, rejectRatesTable } from "./driver-charts.js";
import { proseHtml } from "./html.js";
import type { PageChart } from "./page-chart.js";
import { sentence } from "./words.js";

/** What quality goes with, as sentences: the claims, and what cannot be told apart. */
export function driverSentences(drivers: Drivers): string {
  return `<ul class="told">${driverLines(drivers)
    .map((line) => `<li>${proseHtml(sentence(line))}</li>`)
    .join("\n")}</ul>`;
}

/** The charts of what quality and rejects go with; empty where nothing could be tested. */
export function driverCharts(drivers: Drivers): PageChart[] {
  const charts: PageChart[] = [];
  const effects = effectsFigure(drivers);
  if (effects !== null)
    charts.push({
      id: "effects",
      title: "How much each condition changes a sub",
      about:
        "Each mark is the change that goes with one condition while the others are held; where its line crosses the dotted one, there may be no change at all. It shows what goes together, which is not yet a cause.",
      figure: effects,
      table: effectsTable(drivers),
    });
  const odds = rejectOddsFigure(drivers);
  if (odds !== null)
    charts.push({
      id: "odds",
      title: "What rejects go with",
      about: "The same for the odds of a sub being dropped: how many times as high they are.",
      figure: odds,
      table: effectsTable({
        ...drivers,
        tests: drivers.tests.filter(({ metric }) => metric === "rejects"),
        outcomes: drivers.outcomes.filter(({ metric }) => metric === "rejects"),
      }),
    });
  const rates = rejectRatesFigure(drivers);
  if (rates !== null)
    charts.push({
      id: "rates",
      title: "Where subs were dropped",
      about:
        "The share of subs that were dropped, by filter, altitude and temperature. Differences may come from the hour at which a filter was used; the table compares filters at equal nights and altitudes.",
      figure: rates,
      table: rejectRatesTable(drivers),
    });
  return charts;
}
