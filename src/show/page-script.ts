/** What runs in the page: draws the charts in the page's colours, fills, sorts and filters the table. No network. */
export const pageScript = `
"use strict";
(() => {
  const dataOf = (id) => JSON.parse(document.getElementById(id).textContent);
  const root = document.documentElement, narrow = matchMedia("(max-width: 36rem)"), touch = matchMedia("(pointer: coarse)");

  // Charts. Colours are CSS variables in the figures, so that light, dark and print need no figures of their own. A chart
  // is drawn when it comes near; the library waits as text until then, so that the story is there at once.
  const figures = dataOf("figures-data"), ids = Object.keys(figures), drawn = new Set();
  const placeOf = (id) => document.getElementById(id);
  const needLibrary = () => {
    if (window.Plotly) return;
    const script = document.createElement("script");
    script.textContent = placeOf("chart-library").textContent;
    document.head.append(script);
  };
  const coloured = (value, style) =>
    typeof value === "string" ? value.startsWith("var(--") ? style.getPropertyValue(value.slice(4, -1)).trim() : value
    : Array.isArray(value) && typeof value[0] !== "object" ? value
    : Array.isArray(value) ? value.map((v) => coloured(v, style))
    : value !== null && typeof value === "object" ? Object.fromEntries(Object.entries(value).map(([k, v]) => [k, coloured(v, style)]))
    : value;
  const config = { responsive: true, displayModeBar: false, doubleClick: "reset" };
  // Names of ticks must neither slant nor run into each other: of too many every second, third ... is named.
  const spread = (axis, width) => {
    if (!Array.isArray(axis.ticktext)) return axis;
    const lengths = axis.ticktext.map((text) => Math.max(...text.split("<br>").map((line) => line.length)));
    const every = Math.ceil((axis.ticktext.length * (Math.max(...lengths) * 6.6 + 8)) / Math.max(1, width));
    return every < 2 ? axis : { ...axis, ticktext: axis.ticktext.map((text, i) => (i % every ? "" : text)) };
  };
  const draw = (id, width) => {
    needLibrary();
    const style = getComputedStyle(root), read = (name) => style.getPropertyValue(name).trim(), place = placeOf(id);
    const { data, layout } = coloured(figures[id], style);
    Object.assign(layout, { paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)", dragmode: touch.matches || layout.xaxis.fixedrange ? false : "zoom",
      font: { color: read("--ink"), family: getComputedStyle(document.body).fontFamily, size: 12 },
      hoverlabel: { bgcolor: read("--sheet"), bordercolor: read("--rule"), font: { color: read("--ink") }, align: "left" } });
    // On paper a tall chart is made smaller as a whole, so that it stays on one page with its heading.
    const smaller = width ? Math.min(1, 660 / layout.height) : 1;
    place.style.zoom = smaller < 1 ? smaller : "";
    if (width) layout.width = width / smaller; else layout.autosize = true;
    if (narrow.matches) layout.margin = { ...layout.margin, l: Math.min(layout.margin.l, 38), r: Math.min(layout.margin.r, 4) };
    for (const key of Object.keys(layout)) if (/^[xy]axis/.test(key))
      layout[key] = { gridcolor: read("--grid"), linecolor: read("--rule"), tickfont: { color: read("--soft") }, fixedrange: touch.matches || key !== "xaxis", ...layout[key] };
    // The library writes into what it is given; the range is kept for the way back.
    if (layout.xaxis.range) layout.xaxis.range = [...layout.xaxis.range];
    layout.xaxis = spread({ tickangle: 0, ...layout.xaxis }, (width || place.clientWidth) - layout.margin.l - layout.margin.r);
    const ready = Plotly.react(place, data, layout, config);
    if (!drawn.has(id)) { drawn.add(id); place.style.minHeight = ""; if (place.dataset.axis === "clock") follow(id); }
    return ready;
  };
  // Charts along the clock show the same stretch of the night. Looked at closely, they get finer ticks.
  const clocks = ids.filter((id) => placeOf(id).dataset.axis === "clock");
  let following = false;
  const follow = (id) => placeOf(id).on("plotly_relayout", (change) => {
    const keys = Object.keys(change).filter((key) => key.startsWith("xaxis.") && key !== "xaxis.tickmode");
    if (following || keys.length === 0) return;
    following = true;
    const part = Object.fromEntries(keys.map((key) => [key, change[key]]));
    const whole = figures[id].layout.xaxis.range, ms = (v) => typeof v === "number" ? v : Date.parse(String(v).replace(" ", "T") + "Z");
    const ends = change["xaxis.range"] ?? [change["xaxis.range[0]"], change["xaxis.range[1]"]];
    const isWhole = change["xaxis.autorange"] === true || ends.every((end, i) => Math.abs(ms(end) - whole[i]) < 1000);
    if (figures[id].layout.xaxis.tickvals) part["xaxis.tickmode"] = isWhole ? "array" : "auto";
    Promise.all(clocks.filter((other) => drawn.has(other)).map((other) => Plotly.relayout(other, part))).finally(() => { following = false; });
  });
  if (ids.length > 0) {
    // Once the story is painted: the library, then one chart after the other, each with a pause that leaves room for the
    // reader. What comes near is drawn before its turn.
    const queue = [...ids], near = new Set();
    const seen = new IntersectionObserver((entries) => {
      for (const { target, isIntersecting } of entries) if (isIntersecting) near.add(target.id);
    }, { rootMargin: "600px 0px" });
    const next = () => {
      const at = Math.max(0, queue.findIndex((id) => near.has(id)));
      const [id] = queue.splice(at, 1);
      if (!drawn.has(id)) draw(id);
      seen.unobserve(placeOf(id));
      if (queue.length > 0) setTimeout(next, near.has(queue[0]) ? 20 : 120);
    };
    requestAnimationFrame(() => setTimeout(() => {
      needLibrary();
      for (const id of ids) seen.observe(placeOf(id));
      setTimeout(next, 40);
    }, 0));
    const again = () => { for (const id of drawn) draw(id); };
    for (const query of [matchMedia("(prefers-color-scheme: dark)"), narrow, touch]) query.addEventListener("change", again);
    addEventListener("beforeprint", () => { root.classList.add("printing"); for (const id of ids) draw(id, 680); });
    addEventListener("afterprint", () => { root.classList.remove("printing"); again(); });
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
