/** What runs in the page: draws the charts in the page's colours, fills, sorts and filters the table. No network. */
export const pageScript = `
"use strict";
(() => {
  const dataOf = (id) => JSON.parse(document.getElementById(id).textContent);
  const root = document.documentElement, narrow = matchMedia("(max-width: 36rem)"), touch = matchMedia("(pointer: coarse)");

  // Charts. Colours are CSS variables in the figures, so that light, dark and print need no figures of their own.
  const figures = dataOf("figures-data");
  const coloured = (value, style) =>
    typeof value === "string" ? value.startsWith("var(--") ? style.getPropertyValue(value.slice(4, -1)).trim() : value
    : Array.isArray(value) && typeof value[0] !== "object" ? value
    : Array.isArray(value) ? value.map((v) => coloured(v, style))
    : value !== null && typeof value === "object" ? Object.fromEntries(Object.entries(value).map(([k, v]) => [k, coloured(v, style)]))
    : value;
  const config = { responsive: true, displayModeBar: false, doubleClick: "reset" };
  const draw = (width) => {
    const style = getComputedStyle(root), read = (name) => style.getPropertyValue(name).trim();
    for (const [id, figure] of Object.entries(figures)) {
      const { data, layout } = coloured(figure, style);
      Object.assign(layout, { paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)", dragmode: touch.matches ? false : "zoom",
        font: { color: read("--ink"), family: getComputedStyle(document.body).fontFamily, size: 12 },
        hoverlabel: { bgcolor: read("--sheet"), bordercolor: read("--rule"), font: { color: read("--ink") }, align: "left" } });
      if (width) layout.width = width; else layout.autosize = true;
      if (narrow.matches) layout.margin = { ...layout.margin, l: 38, r: 4 };
      for (const key of Object.keys(layout)) if (/^[xy]axis/.test(key))
        layout[key] = { gridcolor: read("--grid"), linecolor: read("--rule"), tickfont: { color: read("--soft") }, fixedrange: touch.matches || key !== "xaxis", ...layout[key] };
      Plotly.react(document.getElementById(id), data, layout, config);
    }
  };
  const ids = Object.keys(figures);
  if (ids.length > 0) {
    draw();
    // Charts along the clock show the same stretch of the night.
    let following = false;
    const clocks = ids.filter((id) => document.getElementById(id).dataset.axis === "clock");
    for (const id of clocks) document.getElementById(id).on("plotly_relayout", (change) => {
      const keys = Object.keys(change).filter((key) => key.startsWith("xaxis."));
      if (following || keys.length === 0) return;
      following = true;
      const part = Object.fromEntries(keys.map((key) => [key, change[key]]));
      Promise.all(clocks.filter((other) => other !== id).map((other) => Plotly.relayout(other, part))).finally(() => { following = false; });
    });
    for (const query of [matchMedia("(prefers-color-scheme: dark)"), narrow, touch]) query.addEventListener("change", () => draw());
    addEventListener("beforeprint", () => { root.classList.add("printing"); draw(680); });
    addEventListener("afterprint", () => { root.classList.remove("printing"); draw(); });
  }

  // The table of subs: the first rows stand in the page, the others are made when they are asked for.
  const data = dataOf("subs-data"), columns = data.columns;
  const unpacked = (cells) => Array.isArray(cells) ? cells : cells.index.map((i) => cells.texts[i]);
  const verdicts = unpacked(data.verdicts), cells = columns.map((column) => unpacked(column.cells));
  const body = document.querySelector("#subs-table tbody"), heads = [...document.querySelectorAll("#subs-table th")];
  const said = document.getElementById("subs-said"), more = document.getElementById("subs-more"), all = document.getElementById("subs-all");
  const step = 200, printed = 1000;
  let chosen = "", sorted = { column: -1, sign: 1 }, order = [], shown = 0;
  const add = (count) => {
    const part = document.createDocumentFragment();
    for (const i of order.slice(shown, shown + count)) {
      const line = part.appendChild(document.createElement("tr"));
      line.className = verdicts[i];
      cells.forEach((column, c) => {
        const { digits, className } = columns[c], cell = column[i], td = line.appendChild(document.createElement("td"));
        td.textContent = cell === null ? "\\u2013" : typeof cell === "number" ? cell.toFixed(digits) : cell;
        if (className !== "") td.className = className;
      });
    }
    body.append(part);
    shown = Math.min(shown + count, order.length);
    said.textContent = shown < order.length ? shown + " of " + order.length + " files shown." : order.length + (order.length === 1 ? " file." : " files.");
    more.hidden = all.hidden = shown >= order.length;
  };
  const fill = () => {
    order = verdicts.map((_, i) => i).filter((i) => chosen === "" || verdicts[i] === chosen);
    const { column, sign } = sorted;
    if (column >= 0) order.sort((a, b) => {
      const x = cells[column][a], y = cells[column][b];
      if (x === y) return a - b;
      if (x === null || x === "") return 1;
      if (y === null || y === "") return -1;
      return sign * (typeof x === "number" ? x - y : x.localeCompare(y, "en", { numeric: true })) || a - b;
    });
    body.textContent = ""; shown = 0; add(step);
  };
  heads.forEach((head, column) => head.firstChild.addEventListener("click", () => {
    sorted = { column, sign: sorted.column === column ? -sorted.sign : 1 };
    for (const other of heads) other.setAttribute("aria-sort", other !== head ? "none" : sorted.sign > 0 ? "ascending" : "descending");
    fill();
  }));
  const choices = [...document.querySelectorAll(".choices button")];
  for (const choice of choices) choice.addEventListener("click", () => {
    chosen = choice.value;
    for (const other of choices) other.setAttribute("aria-pressed", String(other === choice));
    fill();
  });
  more.addEventListener("click", () => add(step));
  all.addEventListener("click", () => add(order.length));
  addEventListener("beforeprint", () => { if (shown < printed) add(printed - shown); });
  fill();
})();
`;
