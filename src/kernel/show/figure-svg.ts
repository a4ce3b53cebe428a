import { shortNumber } from "../../library/table-text.js";
import { escapeHtml } from "../../show/html.js";

type Plain = Readonly<Record<string, unknown>>;

const widthPx = 640;
const heightPx = 320;
const left = 60;
const right = 150;
const top = 30;
const bottom = 40;
/** Colours that colour-blind readers can tell apart (Okabe & Ito 2008). */
const colours = ["#0072b2", "#e69f00", "#009e73", "#cc79a7", "#d55e00", "#56b4e9", "#000000"];

interface Line {
  readonly name: string;
  readonly points: readonly (readonly [x: number, y: number])[];
  readonly kind: "line" | "dots" | "bars";
}

/**
 * A still picture of a figure's points, lines and bars, for clients that do not draw plotly.
 * @param text - the same in words
 */
export function figureSvg(data: readonly Plain[], layout: Plain, text: string): string {
  const categories: string[] = [];
  let dates = false;
  const coordinate = (value: unknown): number => {
    if (typeof value === "number") return value;
    if (typeof value !== "string" && !(value instanceof Date)) return Number.NaN;
    const instant =
      value instanceof Date
        ? value.getTime()
        : /^\d{4}-\d\d/.test(value)
          ? Date.parse(value.replace(" ", "T"))
          : Number.NaN;
    if (!Number.isNaN(instant)) {
      dates = true;
      return instant;
    }
    const name = String(value);
    if (!categories.includes(name)) categories.push(name);
    return categories.indexOf(name);
  };
  const lines = data.flatMap((trace, i): Line[] => {
    const y = list(trace.y);
    if (y.length === 0) return [];
    const x = "x" in trace ? list(trace.x) : y.map((_, at) => at);
    const points = y
      .map((value, at) => [coordinate(x[at]), typeof value === "number" ? value : Number.NaN] as const)
      .filter(([px, py]) => Number.isFinite(px) && Number.isFinite(py));
    const kind = trace.type === "bar" ? "bars" : String(trace.mode ?? "lines").includes("lines") ? "line" : "dots";
    return [{ name: typeof trace.name === "string" ? trace.name : `trace ${i + 1}`, points, kind }];
  });
  const all = lines.flatMap(({ points }) => points);
  const words = `<pre>${escapeHtml(text)}</pre>`;
  if (all.length === 0) return words;
  const xs = extent(all.map(([x]) => x));
  const ys = extent(lines.some(({ kind }) => kind === "bars") ? [0, ...all.map(([, y]) => y)] : all.map(([, y]) => y));
  const px = (x: number) => left + ((x - xs[0]) / (xs[1] - xs[0])) * (widthPx - left - right);
  const py = (y: number) => heightPx - bottom - ((y - ys[0]) / (ys[1] - ys[0])) * (heightPx - top - bottom);
  const label = (x: number) =>
    categories.length > 0
      ? (categories[Math.round(x)] ?? "")
      : dates
        ? new Date(x).toISOString().slice(5, 16).replace("T", " ")
        : shortNumber(x);
  const drawn = lines.map((line, i) => draw(line, px, py, colours[i % colours.length]!));
  const legend = lines.map(
    ({ name }, i) =>
      `<text x="${widthPx - right + 10}" y="${top + 14 * i + 8}" fill="${colours[i % colours.length]}">${escapeHtml(name.slice(0, 22))}</text>`,
  );
  const title =
    typeof layout.title === "string" ? layout.title : String((layout.title as Plain | undefined)?.text ?? "");
  const axis = `<path d="M${left} ${top}V${heightPx - bottom}H${widthPx - right}" fill="none" stroke="currentColor"/>
<text x="${left - 4}" y="${heightPx - bottom}" text-anchor="end">${shortNumber(ys[0])}</text><text x="${left - 4}" y="${top + 8}" text-anchor="end">${shortNumber(ys[1])}</text>
<text x="${left}" y="${heightPx - bottom + 14}">${escapeHtml(label(xs[0]))}</text><text x="${widthPx - right}" y="${heightPx - bottom + 14}" text-anchor="end">${escapeHtml(label(xs[1]))}</text>`;
  return `<svg viewBox="0 0 ${widthPx} ${heightPx}" width="${widthPx}" role="img" aria-label="${escapeHtml(text)}" font-family="sans-serif" font-size="11" fill="currentColor">
<text x="${left}" y="16" font-size="13">${escapeHtml(title)}</text>
${axis}
${drawn.join("\n")}
${legend.join("")}
</svg>
<details><summary>In words</summary>${words}</details>`;
}

const list = (values: unknown): unknown[] =>
  Array.isArray(values) || ArrayBuffer.isView(values) ? Array.from(values as ArrayLike<unknown>).slice(0, 5000) : [];

function extent(values: readonly number[]): [number, number] {
  let low = Number.POSITIVE_INFINITY;
  let high = Number.NEGATIVE_INFINITY;
  for (const value of values) {
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  return low === high ? [low - 0.5, high + 0.5] : [low, high];
}

function draw({ points, kind }: Line, px: (x: number) => number, py: (y: number) => number, colour: string): string {
  const at = points.map(([x, y]) => [px(x).toFixed(1), py(y).toFixed(1)] as const);
  if (kind === "line")
    return `<polyline fill="none" stroke="${colour}" points="${at.map((p) => p.join(",")).join(" ")}"/>`;
  if (kind === "dots") return at.map(([x, y]) => `<circle cx="${x}" cy="${y}" r="2.5" fill="${colour}"/>`).join("");
  const base = py(0);
  const width = Math.max(2, (0.7 * (widthPx - left - right)) / Math.max(1, points.length));
  return points
    .map(([x, y]) => {
      const end = py(y);
      return `<rect x="${(px(x) - width / 2).toFixed(1)}" y="${Math.min(base, end).toFixed(1)}" width="${width.toFixed(1)}" height="${Math.abs(base - end).toFixed(1)}" fill="${colour}"/>`;
    })
    .join("");
}
