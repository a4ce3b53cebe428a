import type { Figure } from "./chart-panels.js";
import { escapeHtml } from "./html.js";
import { type AxisScale, type AxisTick, axisScale } from "./svg-axis.js";
import { markSvg, patternSvg } from "./svg-marks.js";

type Plain = Readonly<Record<string, unknown>>;

interface Sheet {
  readonly left: number;
  readonly right: number;
  readonly top: number;
  readonly bottom: number;
  readonly x: AxisScale;
  readonly y: ReadonlyMap<string, AxisScale>;
  /** Hatchings that are used, by their marking. */
  readonly patterns: Map<string, string>;
}

const record = (value: unknown): Plain => (typeof value === "object" && value !== null ? (value as Plain) : {});
const numberOf = (value: unknown, otherwise: number) => (typeof value === "number" ? value : otherwise);
const textOf = (value: unknown, otherwise = "") => (typeof value === "string" ? value : otherwise);
const round = (value: number) => Number(value.toFixed(1));

/**
 * A chart of this project as a still picture, for where no chart library draws: other kernels, documents, print. It draws
 * what our charts are made of (lines, marks, intervals, hatched bars, texts, shaded stretches) and no more.
 * @param colours - CSS that gives the colours, for example `svg { --ink: #000; }`
 * @param about - what a reader who does not see it is told
 * @param widthPx - of the picture
 */
export function figureSvg(figure: Figure, colours: string, about: string, widthPx = 760): string {
  const { layout } = figure;
  const margin = record(layout.margin);
  const heightPx = numberOf(layout.height, 300);
  const [left, right] = [numberOf(margin.l, 48), widthPx - numberOf(margin.r, 8) - 8];
  const [top, bottom] = [numberOf(margin.t, 6), heightPx - numberOf(margin.b, 48)];
  const y = new Map<string, AxisScale>();
  for (const key of Object.keys(layout).filter((name) => name.startsWith("yaxis"))) {
    const axis = record(layout[key]);
    const [from, to] = axis.domain as [number, number];
    const name = key.replace("axis", "");
    const values = figure.data.filter((trace) => (trace.yaxis ?? "y") === name).flatMap((trace) => numbers(trace.y));
    y.set(name, axisScale(axis, values, bottom - from * (bottom - top), bottom - to * (bottom - top)));
  }
  const x = axisScale(
    record(layout.xaxis),
    figure.data.flatMap((trace) => numbers(trace.x)),
    left,
    right,
  );
  const sheet: Sheet = { left, right, top, bottom, x, y, patterns: new Map() };
  const shapes = list(layout.shapes).map((shape) => shapeSvg(shape, sheet));
  const grid = [...y].map(([, scale]) => gridSvg(scale, sheet));
  const traces = figure.data.map((trace) => traceSvg(trace, sheet));
  const texts = list(layout.annotations).map((annotation) => annotationSvg(annotation, sheet));
  const defs = [...sheet.patterns.values()].join("");
  return `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${widthPx} ${heightPx}" width="${widthPx}" height="${heightPx}" role="img" aria-label="${escapeHtml(about)}" font-family="system-ui, sans-serif" font-size="12"><style>${colours}</style><defs>${defs}</defs><rect width="${widthPx}" height="${heightPx}" fill="var(--paper)"/>${[...shapes, ...grid, xAxisSvg(record(layout.xaxis), sheet), ...traces, ...texts].join("\n")}</svg>`;
}

const list = (value: unknown): readonly Plain[] => (Array.isArray(value) ? (value as Plain[]) : []);
const numbers = (values: unknown): number[] =>
  Array.isArray(values) ? values.filter((value): value is number => typeof value === "number") : [];

function gridSvg(scale: AxisScale, { left, right }: Sheet): string {
  const lines = scale.ticks.map(({ at, name }) => {
    const line = scale.hasGrid ? `<path d="M${left} ${round(at)}H${right}" stroke="var(--grid)"/>` : "";
    const label = scale.hasLabels
      ? `<text x="${left - 5}" y="${round(at + 4)}" text-anchor="end" fill="var(--soft)" font-size="11">${escapeHtml(name)}</text>`
      : "";
    return line + label;
  });
  return lines.join("");
}

function xAxisSvg(axis: Plain, { x, y, bottom, left, right }: Sheet): string {
  const spans = [...y.values()].map(({ start, end }) => [start, end] as const);
  const tick = ({ at, name }: AxisTick) =>
    `${spans.map(([from, to]) => `<path d="M${round(at)} ${round(from)}V${round(to)}" stroke="var(--grid)"/>`).join("")}<text x="${round(at)}" y="${bottom + 16}" text-anchor="middle" fill="var(--soft)" font-size="11">${linesSvg(name, at)}</text>`;
  const title = textOf(record(axis.title).text);
  const below = x.ticks.some(({ name }) => name.includes("<br>")) ? 50 : 36;
  return `${x.ticks.map(tick).join("")}<path d="M${left} ${bottom}H${right}" stroke="var(--rule)"/><text x="${(left + right) / 2}" y="${bottom + below}" text-anchor="middle" fill="var(--ink)">${escapeHtml(title)}</text>`;
}

/** A tick's name, which may have a second line. */
const linesSvg = (name: string, x: number) =>
  name
    .split("<br>")
    .map((line, i) => (i === 0 ? escapeHtml(line) : `<tspan x="${round(x)}" dy="14">${escapeHtml(line)}</tspan>`))
    .join("");

/** A part of the drawing by its reference: paper, a value of an axis, or a share of an axis. */
function placeOf(reference: unknown, value: number, isLevel: boolean, sheet: Sheet, isLogged: boolean): number {
  const name = textOf(reference, "paper");
  if (name === "paper")
    return isLevel
      ? sheet.left + value * (sheet.right - sheet.left)
      : sheet.bottom - value * (sheet.bottom - sheet.top);
  const scale = isLevel ? sheet.x : sheet.y.get(name.replace(" domain", ""));
  if (scale === undefined) return Number.NaN;
  if (name.endsWith(" domain")) return scale.start + value * (scale.end - scale.start);
  // Texts stand at the logarithm of a logarithmic axis, shapes at the value.
  return scale.place(isLogged && scale.isLog ? 10 ** value : value);
}

function shapeSvg(shape: Plain, sheet: Sheet): string {
  const x0 = placeOf(shape.xref, numberOf(shape.x0, 0), true, sheet, false);
  const x1 = placeOf(shape.xref, numberOf(shape.x1, 0), true, sheet, false);
  const y0 = placeOf(shape.yref, numberOf(shape.y0, 0), false, sheet, false);
  const y1 = placeOf(shape.yref, numberOf(shape.y1, 0), false, sheet, false);
  if (![x0, x1, y0, y1].every(Number.isFinite)) return "";
  const line = record(shape.line);
  if (shape.type === "line")
    return `<path d="M${round(x0)} ${round(y0)}L${round(x1)} ${round(y1)}" stroke="${paint(line.color)}" stroke-width="${numberOf(line.width, 1)}"${dashed(line.dash)}/>`;
  return `<rect x="${round(Math.min(x0, x1))}" y="${round(Math.min(y0, y1))}" width="${round(Math.abs(x1 - x0))}" height="${round(Math.abs(y1 - y0))}" fill="${paint(shape.fillcolor)}"/>`;
}

function annotationSvg(annotation: Plain, sheet: Sheet): string {
  const font = record(annotation.font);
  const x = placeOf(annotation.xref, numberOf(annotation.x, 0), true, sheet, true) + numberOf(annotation.xshift, 0);
  const y = placeOf(annotation.yref, numberOf(annotation.y, 0), false, sheet, true) - numberOf(annotation.yshift, 0);
  if (!Number.isFinite(x) || !Number.isFinite(y)) return "";
  const size = numberOf(font.size, 12);
  const anchor = { left: "start", center: "middle", right: "end" }[textOf(annotation.xanchor, "left")] ?? "start";
  const isUpright = annotation.textangle === -90;
  const shift = annotation.yanchor === "middle" ? 0.35 * size : isUpright ? 0 : -0.25 * size;
  const turn = isUpright ? ` transform="rotate(-90 ${round(x)} ${round(y)})"` : "";
  const at = isUpright ? ` dy="${round(size)}" dx="4"` : "";
  return `<text x="${round(x)}" y="${round(y + shift)}" text-anchor="${anchor}" font-size="${size}" fill="${paint(font.color)}"${turn}${at}${/^<b>/.test(textOf(annotation.text)) ? ' font-weight="600"' : ""}>${plainText(annotation.text)}</text>`;
}

/** The chart library's little HTML as text that is safe here. */
const plainText = (text: unknown) =>
  escapeHtml(
    textOf(text)
      .replace(/<\/?b>|<br>/g, "")
      .replaceAll("&lt;", "<")
      .replaceAll("&gt;", ">")
      .replaceAll("&amp;", "&"),
  );

function traceSvg(trace: Plain, sheet: Sheet): string {
  const scale = sheet.y.get(textOf(trace.yaxis, "y"));
  if (scale === undefined || !Array.isArray(trace.x) || !Array.isArray(trace.y)) return "";
  const ys = trace.y as unknown[];
  const points = (trace.x as unknown[]).map((value, i) =>
    typeof value === "number" && typeof ys[i] === "number"
      ? ([sheet.x.place(value), scale.place(ys[i])] as const)
      : null,
  );
  const mode = textOf(trace.mode, "lines");
  const parts: string[] = [];
  if (mode.includes("lines")) parts.push(lineSvg(trace, points, sheet));
  const marker = record(trace.marker);
  const bars = record(trace.error_x);
  if (Array.isArray(bars.array)) parts.push(intervalsSvg(bars, trace.x as number[], points, sheet));
  if (mode.includes("markers") && marker.opacity !== 0) {
    const sizes = marker.size;
    const size = (i: number) => (Array.isArray(sizes) ? numberOf(sizes[i], 6) : numberOf(sizes, 6));
    const symbol = textOf(marker.symbol, "circle");
    parts.push(
      `<g stroke="${paint(marker.color)}" fill="${paint(marker.color)}" opacity="${numberOf(marker.opacity, 1)}">${points
        .map((point, i) => (point === null || !(size(i) > 0.2) ? "" : markSvg(symbol, point[0], point[1], size(i))))
        .join("")}</g>`,
    );
  }
  if (mode.includes("text")) parts.push(...points.map((point, i) => besideSvg(trace, point, i)));
  return parts.join("");
}

function lineSvg(trace: Plain, points: readonly (readonly [number, number] | null)[], sheet: Sheet): string {
  const line = record(trace.line);
  let isDown = false;
  const path = points
    .map((point) => {
      if (point === null) {
        isDown = false;
        return "";
      }
      const step = `${isDown ? "L" : "M"}${round(point[0])} ${round(point[1])}`;
      isDown = true;
      return step;
    })
    .join("");
  let fill = "none";
  if (trace.fill === "toself") {
    const pattern = record(trace.fillpattern);
    const [shape, colour] = [textOf(pattern.shape), paint(pattern.fgcolor)];
    const key = `${shape} ${colour} ${numberOf(pattern.solidity, 0.4)}`;
    const id = `hatch${[...sheet.patterns.keys(), key].indexOf(key)}`;
    if (!sheet.patterns.has(key))
      sheet.patterns.set(key, patternSvg(id, shape, colour, paint(pattern.bgcolor), numberOf(pattern.solidity, 0.4)));
    fill = `url(#${id})`;
  }
  return `<path d="${path}" fill="${fill}" stroke="${paint(line.color)}" stroke-width="${numberOf(line.width, 1.5)}"${dashed(line.dash)}/>`;
}

function intervalsSvg(
  bars: Plain,
  xs: readonly number[],
  points: readonly (readonly [number, number] | null)[],
  { x }: Sheet,
): string {
  const [plus, minus] = [bars.array as number[], bars.arrayminus as number[]];
  const path = points
    .map((point, i) => {
      if (point === null) return "";
      const [from, to] = [round(x.place(xs[i]! - minus[i]!)), round(x.place(xs[i]! + plus[i]!))];
      const [up, down] = [round(point[1] - 5), round(point[1] + 5)];
      return `M${from} ${up}V${down}M${from} ${round(point[1])}H${to}M${to} ${up}V${down}`;
    })
    .join("");
  return `<path d="${path}" stroke="${paint(bars.color)}" stroke-width="2" fill="none"/>`;
}

/** A text beside its mark. */
function besideSvg(trace: Plain, point: readonly [number, number] | null, i: number): string {
  const texts = trace.text;
  if (point === null || !Array.isArray(texts)) return "";
  const position = textOf(trace.textposition, "top center");
  const dx = position.includes("left") ? -7 : position.includes("right") ? 7 : 0;
  const dy = position.includes("top") ? -8 : position.includes("bottom") ? 16 : 4;
  const anchor = dx < 0 ? "end" : dx > 0 ? "start" : "middle";
  return `<text x="${round(point[0] + dx)}" y="${round(point[1] + dy)}" text-anchor="${anchor}" fill="${paint(record(trace.textfont).color)}">${plainText(texts[i])}</text>`;
}

/** Only colours of our own kind get into an attribute. */
const paint = (value: unknown) =>
  typeof value === "string" && /^(?:var\(--[a-z-]+\)|#[0-9a-f]{3,8})$/i.test(value) ? value : "currentColor";
const dashed = (dash: unknown) =>
  dash === "dash" ? ' stroke-dasharray="7 5"' : dash === "dot" ? ' stroke-dasharray="2 4"' : "";
