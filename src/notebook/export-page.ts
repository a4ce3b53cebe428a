/** What a notebook's page has beyond the report's look: code on a sheet, outputs beside a thin rule. */
export const notebookStyle = `
.notebook { --code-key: #7a3e9d; --code-text: #2f6b2f; --code-number: #9a4b00; }
@media (prefers-color-scheme: dark) { .notebook { --code-key: #c79be6; --code-text: #93c98a; --code-number: #f0b070; } }
:root.printing .notebook { --code-key: #333; --code-text: #333; --code-number: #333; }
.notebook { max-width: 58rem; }
.words h1 { font-size: clamp(1.55rem, 4.6vw, 2.2rem); line-height: 1.2; margin: 0 0 .8rem; }
.words h2 { margin-top: 2.4rem; } .words p, .words li { max-width: 44rem; } .words p { font-size: 1.06rem; }
.words a { color: var(--keep); overflow-wrap: anywhere; } .words img, figure img { max-width: 100%; height: auto; } figure { margin: .6rem 0; }
blockquote { margin: .8rem 0; padding-left: 1rem; border-left: 3px solid var(--rule); color: var(--soft); }
hr { border: 0; border-top: 1px solid var(--rule); margin: 2rem 0; }
code { font: .9em/1.5 ui-monospace, "SF Mono", Consolas, "DejaVu Sans Mono", monospace; } p code, li code, td code { background: var(--sheet); padding: .05em .3em; border-radius: .2em; overflow-wrap: anywhere; }
pre { font: .84rem/1.5 ui-monospace, "SF Mono", Consolas, "DejaVu Sans Mono", monospace; overflow-x: auto; margin: .5rem 0; tab-size: 2; } pre code { font: inherit; }
.words pre, pre.code { background: var(--sheet); border-radius: .3rem; padding: .7rem .9rem; }
.cell { margin: 1rem 0; } .outputs { padding-left: .9rem; border-left: 2px solid var(--rule); }
pre:focus-visible { outline: 2px solid var(--keep); outline-offset: 2px; }
.k { color: var(--code-key); } .s { color: var(--code-text); } .n { color: var(--code-number); } .c { color: var(--soft); font-style: italic; }
.said { white-space: pre-wrap; overflow-wrap: anywhere; } .aside-said { color: var(--soft); } .failed { color: var(--drop); border-left: 3px solid var(--drop); padding-left: .8rem; }
.html-output { overflow-x: auto; } .html-output > div[style] { max-height: none !important; overflow: visible !important; } .html-output table { width: auto; min-width: 0; } .html-output img, .html-output svg { max-width: 100%; height: auto; }
@media print { .notebook { --code-key: #333; --code-text: #333; --code-number: #333; } pre { white-space: pre-wrap; overflow-wrap: anywhere; overflow: visible; font-size: 8pt; } .words pre, pre.code { border: 1px solid #ccc; } figure, .chart { break-inside: avoid; } }
`;

/** Draws the charts of a notebook's page in the page's colours; a chart that brings its own colours keeps them. */
export const figureScript = `
"use strict";
(() => {
  const figures = JSON.parse(document.getElementById("figures-data").textContent), root = document.documentElement;
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const coloured = (value, style) =>
    typeof value === "string" ? value.startsWith("var(--") ? style.getPropertyValue(value.slice(4, -1)).trim() : value
    : Array.isArray(value) ? (typeof value[0] === "number" ? value : value.map((v) => coloured(v, style)))
    : value !== null && typeof value === "object" ? Object.fromEntries(Object.entries(value).map(([k, v]) => [k, coloured(v, style)]))
    : value;
  const draw = (width) => {
    const style = getComputedStyle(root), read = (name) => style.getPropertyValue(name).trim();
    for (const place of document.querySelectorAll("[data-figure]")) {
      const { data, layout } = coloured(figures[place.dataset.figure], style);
      delete layout.template;
      Object.assign(layout, { paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)",
        font: { ...layout.font, color: read("--ink"), family: getComputedStyle(document.body).fontFamily, size: 12 } });
      if (width) layout.width = width; else { delete layout.width; layout.autosize = true; }
      for (const key of new Set([...Object.keys(layout).filter((k) => /^[xy]axis/.test(k)), "xaxis", "yaxis"]))
        layout[key] = { gridcolor: read("--grid"), linecolor: read("--rule"), zerolinecolor: read("--rule"), tickfont: { color: read("--soft") }, automargin: true, ...layout[key] };
      Plotly.react(place, data, layout, { responsive: true, displayModeBar: false });
    }
  };
  draw();
  dark.addEventListener("change", () => draw());
  addEventListener("beforeprint", () => { root.classList.add("printing"); draw(640); });
  addEventListener("afterprint", () => { root.classList.remove("printing"); draw(); });
})();
`;
