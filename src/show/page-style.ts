const light = `--paper: #fdfcf9; --sheet: #f6f4ee; --ink: #20262e; --soft: #5b6470; --rule: #ddd8cc; --grid: rgba(60,66,80,.14);
  --keep: #0072b2; --borderline: #946200; --drop: #b84800; --unjudged: #6d6d6d; --moon: #7d7460; --lane: #8d9bab;
  --band-ink: #4c5664; --sun-day: #fbe6b0; --sun-civil: #f3e6c8; --sun-nautical: #e3e2e0; --sun-astronomical: #d5dae4;
  --sun-night: #c8d1e0; --cause-sky: #3d6a94; --cause-telescope: #a04a6b; --cause-other: #6d6d6d; --bar: #f1eee6; --wide-bar: #c8d1e0;`;
const dark = `--paper: #15181d; --sheet: #1c2026; --ink: #e9e5dc; --soft: #a5abb3; --rule: #353b44; --grid: rgba(220,225,235,.14);
  --keep: #56b4e9; --borderline: #e69f00; --drop: #f0772b; --unjudged: #a3a3a3; --moon: #d8cda8; --lane: #66758a;
  --band-ink: #aab4c2; --sun-day: #4d4330; --sun-civil: #4a4334; --sun-nautical: #333840; --sun-astronomical: #252c38;
  --sun-night: #1b2230; --cause-sky: #7fb0dc; --cause-telescope: #e08fb0; --cause-other: #a3a3a3; --bar: #22272f; --wide-bar: #2e3a52;`;

export type Theme = "light" | "dark";

/** The colours of a theme as CSS declarations. */
export const colourVariables = (theme: Theme): string => (theme === "light" ? light : dark).replace(/\n\s*/g, " ");

/**
 * The page's look: a quiet sheet of paper with one column of text, serif for what is told and sans for what is measured.
 * Verdict colours are Okabe & Ito's, on paper a little darker where they also colour words. In print they differ in
 * lightness too, so that a grey copy keeps the dropped subs apart.
 */
export const pageStyle = `
:root { color-scheme: light dark; ${light} }
@media (prefers-color-scheme: dark) { :root { ${dark} } }
:root.printing { color-scheme: light; ${light} --paper: #fff;
  --keep: #6d9dc0; --borderline: #8a5b00; --drop: #4d1e00; }
* { box-sizing: border-box; }
html { -webkit-text-size-adjust: 100%; text-size-adjust: 100%; }
body { margin: 0; background: var(--paper); color: var(--ink); font: 16px/1.55 system-ui, -apple-system, "Segoe UI", Roboto, "Noto Sans", sans-serif; }
main { max-width: 70rem; margin: 0 auto; padding: clamp(1.2rem, 4vw, 3.2rem) clamp(1rem, 4vw, 2rem) 4rem; }
h1, h2, .lead, .story p { font-family: "Iowan Old Style", "Palatino Linotype", Palatino, "Book Antiqua", "Noto Serif", Georgia, serif; }
h1 { font-size: 1.05rem; font-weight: 600; margin: 0; overflow-wrap: anywhere; }
.lead { font-size: clamp(1.55rem, 4.6vw, 2.3rem); line-height: 1.22; margin: 1.1rem 0 1.3rem; max-width: 24em; text-wrap: balance; }
h2 { font-size: 1.35rem; font-weight: 600; margin: 3rem 0 .5rem; line-height: 1.25; }
h2.small, h3 { font: 600 1rem/1.3 system-ui, -apple-system, "Segoe UI", Roboto, "Noto Sans", sans-serif; margin: 1.2rem 0 .3rem; }
h3 { margin-top: 1.8rem; overflow-wrap: anywhere; }
.story, .left { display: grid; gap: 0 3.2rem; align-items: start; }
.why { border-top: 1px solid var(--rule); } .why h2:first-child { margin-top: .8rem; }
@media (min-width: 62rem) { .story, .left { grid-template-columns: minmax(0, 1.08fr) minmax(0, 1fr); } .why { border-top: 0; } .why h2:first-child { margin-top: .3rem; } .pairs { display: grid; grid-template-columns: minmax(0, 1fr) minmax(0, 1fr); gap: 0 2.6rem; align-items: start; } .pairs > div > div:first-child h3 { margin-top: .6rem; } }
.told { margin: .3rem 0; padding-left: 1.1rem; max-width: 46rem; } .told li { margin: .3rem 0; } .told li::marker { color: var(--soft); }
.subs-pictured { display: grid; grid-template-columns: repeat(auto-fill, minmax(min(15.5rem, calc(50% - .6rem)), 1fr)); gap: 1.4rem 1.2rem; align-items: start; margin: 1rem 0; }
.sub { margin: 0; min-width: 0; } .sub img { display: block; width: 100%; height: auto; background: #000; }
.sub figcaption { font-size: .86rem; line-height: 1.4; margin-top: .4rem; overflow-wrap: anywhere; } .sub ul { list-style: none; margin: .1rem 0 0; padding: 0; color: var(--soft); }
p { margin: .45rem 0; max-width: 42rem; }
.story p { font-size: 1.12rem; }
.soft, .story p.soft { color: var(--soft); font-size: .95rem; font-family: inherit; }
.keep { color: var(--keep); } .borderline { color: var(--borderline); } .drop { color: var(--drop); } .unjudged { color: var(--unjudged); }
.fill-keep { fill: var(--keep); } .fill-borderline { fill: var(--borderline); } .fill-drop { fill: var(--drop); } .fill-unjudged { fill: var(--unjudged); }
.ribbon { margin: 0 0 1.6rem; display: flex; gap: .9rem; border-top: 1px solid var(--rule); border-bottom: 1px solid var(--rule); padding: .5rem 0; }
.ribbon svg { flex: 1; min-width: 0; display: block; }
.ribbon-names { display: flex; flex-direction: column; font-size: .9rem; font-weight: 600; font-variant-numeric: tabular-nums; }
.lead, h2 + .soft { break-after: avoid; } .ribbon-names span { height: 1.6rem; line-height: 1.6rem; white-space: nowrap; }
.attention { border-left: 3px solid var(--drop); padding: .1rem 0 .1rem 1rem; margin: 1.4rem 0; overflow-wrap: anywhere; }
.attention h2:first-child { margin-top: 0; }
.attention li { margin: .4rem 0; max-width: 42rem; } .attention ul { margin: .3rem 0; padding-left: 1.1rem; }
.legend { display: flex; flex-wrap: wrap; gap: .2rem 1.4rem; list-style: none; margin: .7rem 0 .2rem; padding: 0; font-size: .9rem; }
.legend .moon { display: inline-block; width: 2rem; border-bottom: 3px dotted var(--moon); vertical-align: .25em; }
.chart { margin: .4rem -0.4rem 0; min-height: 6rem; }
.chart .nsewdrag { touch-action: pan-y; }
details { margin: .6rem 0; } summary { cursor: pointer; color: var(--soft); font-size: .95rem; min-height: 1.7rem; padding: .1rem 0; width: fit-content; }
summary:hover { color: var(--ink); }
summary:focus-visible, button:focus-visible, .scroll:focus-visible { outline: 2px solid var(--keep); outline-offset: 2px; }
.scroll { overflow: auto; margin: .6rem 0; border-top: 1px solid var(--rule); border-bottom: 1px solid var(--rule); }
.scroll.tall { max-height: min(44rem, 85vh); }
table { border-collapse: separate; border-spacing: 0; font-size: .86rem; line-height: 1.4; font-variant-numeric: tabular-nums; min-width: 100%; }
caption { text-align: left; padding: .5rem 0; color: var(--soft); }
th, td { text-align: left; padding: .34rem .65rem .34rem 0; border-bottom: 1px solid var(--rule); vertical-align: top; white-space: nowrap; }
tbody tr:last-child td { border-bottom: 0; }
th { font-weight: 600; color: var(--soft); vertical-align: bottom; }
.number { text-align: right; } thead .number { white-space: normal; } .tall thead .number { min-width: 4.6rem; }
@media (pointer: coarse) { .mouse { display: none; } }
.scroll:not(.tall) td:first-child { white-space: normal; min-width: 9rem; } td.wide { white-space: normal; min-width: 19rem; max-width: 30rem; overflow-wrap: anywhere; }
.tall thead th { position: sticky; top: 0; background: var(--paper); z-index: 2; }
.tall tr > :first-child { position: sticky; left: 0; background: var(--paper); z-index: 1; max-width: 18rem; white-space: normal; overflow-wrap: anywhere; min-width: min(16rem, 34vw); }
.tall thead tr > :first-child { z-index: 3; }
#subs-table td:nth-child(2) { font-weight: 600; }
tr.keep td, tr.borderline td, tr.drop td, tr.unjudged td { color: var(--ink); }
tr.keep td:nth-child(2) { color: var(--keep); } tr.borderline td:nth-child(2) { color: var(--borderline); } tr.drop td:nth-child(2) { color: var(--drop); } tr.unjudged td:nth-child(2) { color: var(--unjudged); }
thead button { all: unset; cursor: pointer; display: inline-block; min-height: 1.6rem; min-width: 1.6rem; box-sizing: border-box; padding-top: .2rem; } thead button:hover { color: var(--ink); text-decoration: underline; }
th[aria-sort="ascending"] button::after { content: " \\2191"; } th[aria-sort="descending"] button::after { content: " \\2193"; }
.choices { display: flex; flex-wrap: wrap; gap: .4rem; margin: .8rem 0 .2rem; }
.choices button, .more button { font: inherit; font-size: .9rem; padding: .3rem .85rem; min-height: 2rem; border: 1px solid var(--rule); border-radius: 2rem; background: none; color: var(--ink); cursor: pointer; }
.choices button[aria-pressed="true"] { background: var(--ink); color: var(--paper); border-color: var(--ink); }
.more { display: flex; flex-wrap: wrap; gap: .6rem; align-items: center; font-size: .9rem; color: var(--soft); }
dl { max-width: 46rem; } dt { font-weight: 600; margin-top: .7rem; } dd { margin: 0; }
footer { margin-top: 3rem; border-top: 1px solid var(--rule); padding-top: .8rem; }
[hidden] { display: none !important; }
@media (max-width: 36rem) { .tall tr > :first-child { min-width: 7.5rem; max-width: 7.5rem; white-space: normal; overflow-wrap: anywhere; } .ribbon { flex-direction: column; gap: .2rem; }
  .ribbon svg { flex: none; width: 100%; } .ribbon-names { flex-direction: row; flex-wrap: wrap; gap: 0 1rem; } td.wide { min-width: 15rem; } .story p { font-size: 1.06rem; } }
@media print { @page { margin: 14mm; } :root { --keep: #6d9dc0; --borderline: #8a5b00; --drop: #4d1e00; } .aside { display: none; }
  p { break-inside: avoid; } .legend, caption { break-after: avoid; } #subs-table td.wraps { white-space: normal; } #subs-table td.wide { width: 34%; min-width: 9.5rem; } body { font-size: 10pt; } main { max-width: none; padding: 0; } h2 { break-after: avoid; margin-top: 1.6rem; }
  .scroll, .scroll.tall { max-height: none; overflow: visible; } .choices, .more button, .screen, details:not([open]) { display: none; }
  .tall thead th, .tall tr > :first-child { position: static; } tr, figure, .together { break-inside: avoid; }
  .story, .left, .pairs { display: block; } .subs-pictured { grid-template-columns: repeat(3, 1fr); } .sub figcaption { font-size: 7.5pt; } .sub img { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
  table { font-size: 7pt; } th, td { padding: .15rem .45rem .15rem 0; } th { white-space: normal; } td.wide { max-width: none; } .tall thead .number { min-width: 0; }
  .tall tr > :first-child { white-space: normal; overflow-wrap: anywhere; min-width: 10rem; max-width: 12rem; } }
`;
