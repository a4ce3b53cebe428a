/**
 * Runs in a page and gives what is wrong with it, each finding starting with the name of its rule. Numbers in the comments
 * are success criteria of WCAG 2.2.
 */
export const auditScript = `(() => {
  const findings = [], all = (selector) => [...document.querySelectorAll(selector)];
  const isShown = (e) => e.checkVisibility({ visibilityProperty: true }) && e.getClientRects().length > 0;
  const called = (e) => e.tagName + (e.id ? "#" + e.id : "") + " '" + (e.textContent || "").trim().slice(0, 40) + "'";
  const nameOf = (e) => (e.getAttribute("aria-label") || e.textContent || e.getAttribute("title") || "").trim();

  if (!document.documentElement.lang) findings.push("lang: the page does not say its language"); // 3.1.1
  if (document.title.trim() === "") findings.push("title: the page has none"); // 2.4.2
  if (all("main").length !== 1) findings.push("main: there must be one main landmark"); // 1.3.1
  const outside = [...document.body.children].filter((e) => !["MAIN", "HEADER", "FOOTER", "NAV", "SCRIPT", "STYLE"].includes(e.tagName) && nameOf(e) !== "" && isShown(e));
  for (const e of outside) findings.push("landmark: outside of all landmarks: " + called(e));

  const headings = all("h1,h2,h3,h4,h5,h6").filter(isShown); // 1.3.1, 2.4.6
  if (headings.filter((h) => h.tagName === "H1").length !== 1) findings.push("heading-order: there must be one h1");
  headings.forEach((h, i) => {
    const [level, before] = [Number(h.tagName[1]), i === 0 ? 0 : Number(headings[i - 1].tagName[1])];
    if (level > before + 1) findings.push("heading-order: " + called(h) + " follows h" + before);
    if (nameOf(h) === "") findings.push("heading-order: an empty heading");
  });

  const ids = all("[id]").map((e) => e.id); // used by labels and scripts
  for (const id of new Set(ids)) if (ids.filter((other) => other === id).length > 1) findings.push("duplicate-id: " + id);

  for (const image of all("img")) if ((image.getAttribute("alt") || "").trim() === "") findings.push("image-alt: " + image.src.slice(0, 60)); // 1.1.1
  for (const drawn of all("svg, [role=img]").filter((e) => isShown(e) && e.getBoundingClientRect().right > 0)) { // the chart library measures texts off the page
    const top = drawn.closest("[role=img]");
    if (top === null ? drawn.getAttribute("aria-hidden") !== "true" : nameOf({ getAttribute: (n) => top.getAttribute(n), textContent: "" }) === "") findings.push("image-alt: " + called(drawn));
  }

  const controls = all("button, summary, a[href], input, select, textarea, [role=button], [tabindex]").filter(isShown);
  for (const e of controls) if (nameOf(e) === "") findings.push("name: " + called(e)); // 4.1.2
  for (const e of all("[role=button], [onclick]").filter(isShown)) if (e.tabIndex < 0) findings.push("keyboard: " + called(e)); // 2.1.1
  for (const e of controls) if (e.tabIndex > 0) findings.push("keyboard: tabindex above 0: " + called(e)); // 2.4.3
  // What scrolls must be reached by the keyboard.
  for (const e of all("div").filter(isShown)) if (e.scrollWidth > e.clientWidth + 1 && ["auto", "scroll"].includes(getComputedStyle(e).overflowX) && e.tabIndex < 0) findings.push("keyboard: scrolls without focus: " + called(e));

  let leastTargetPx = Infinity; // 2.5.8
  for (const e of all("button, summary, a[href]").filter(isShown)) {
    const { width, height } = e.getBoundingClientRect(), side = Math.min(width, height);
    leastTargetPx = Math.min(leastTargetPx, side);
    if (side < 23.99) findings.push("target-size: " + called(e) + " " + width.toFixed(0) + " x " + height.toFixed(0));
  }

  for (const table of all("table").filter(isShown)) { // 1.3.1
    if (!table.caption || table.caption.textContent.trim() === "") findings.push("table-caption: " + called(table));
    const heads = [...table.querySelectorAll("thead th")];
    if (heads.length === 0 || heads.some((th) => !th.hasAttribute("scope") || th.textContent.trim() === "")) findings.push("table-headers: " + called(table));
  }
  for (const e of all("[role]")) if (!["img", "region", "group", "status", "note", "button", "list"].includes(e.getAttribute("role"))) findings.push("role: " + called(e));
  for (const e of all("[aria-sort]")) if (!["none", "ascending", "descending"].includes(e.getAttribute("aria-sort"))) findings.push("role: aria-sort of " + called(e));

  // Contrast of every text, 1.4.3: at least 4.5, of large text 3. Colours are read back from a canvas.
  const context = Object.assign(document.createElement("canvas"), { width: 1, height: 1 }).getContext("2d", { willReadFrequently: true });
  const parsed = (colour) => { context.clearRect(0, 0, 1, 1); context.fillStyle = "#000"; context.fillStyle = colour; context.fillRect(0, 0, 1, 1); const [r, g, b, a] = context.getImageData(0, 0, 1, 1).data; return [r, g, b, a / 255]; };
  const memo = new Map(), rgba = (colour) => { if (!memo.has(colour)) memo.set(colour, parsed(colour)); return memo.get(colour); };
  const over = ([r, g, b, a], [R, G, B]) => [r * a + R * (1 - a), g * a + G * (1 - a), b * a + B * (1 - a), 1];
  const luminance = (c) => { const [r, g, b] = c.map((v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; }); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const ratio = (a, b) => { const [x, y] = [luminance(a), luminance(b)].sort((p, q) => q - p); return (x + 0.05) / (y + 0.05); };
  const paper = (e) => {
    const layers = [];
    for (let at = e; at; at = at.parentElement) { const colour = rgba(getComputedStyle(at).backgroundColor); if (colour[3] > 0) layers.push(colour); if (colour[3] === 1) break; }
    return layers.reverse().reduce((below, layer) => over(layer, below), [255, 255, 255, 1]);
  };
  let leastContrast = Infinity, texts = 0;
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const e = node.parentElement;
    if (node.textContent.trim() === "" || ["SCRIPT", "STYLE", "NOSCRIPT"].includes(e.tagName) || !isShown(e)) continue;
    const style = getComputedStyle(e), isSvg = e instanceof SVGElement;
    const below = [paper(e)];
    if (isSvg) {
      // Shaded stretches of a chart that the text stands on.
      const box = e.getBoundingClientRect(), [x, y] = [box.left + box.width / 2, box.top + box.height / 2];
      for (const shape of e.closest(".js-plotly-plot")?.querySelectorAll(".shapelayer path") ?? []) {
        const s = shape.getBoundingClientRect();
        if (s.left < box.right && s.right > box.left && s.top <= y && s.bottom >= y && s.width > 2) below.push(over(rgba(getComputedStyle(shape).fill), below[0]));
      }
    }
    const ink = rgba(isSvg ? style.fill : style.color), size = parseFloat(style.fontSize);
    const least = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700) ? 3 : 4.5;
    for (const behind of below) {
      const found = ratio(over(ink, behind), behind);
      leastContrast = Math.min(leastContrast, found);
      if (found < least) findings.push("contrast: " + found.toFixed(2) + " of " + called(e));
    }
    texts++;
  }
  const counts = { headings: headings.length, controls: controls.length, tables: all("table").length, texts, charts: all(".chart").filter((e) => e.querySelector(".main-svg")).length, pictures: all("img").length };
  return { findings: findings.slice(0, 40), counts, leastContrast, leastTargetPx };
})()`;
