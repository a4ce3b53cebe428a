type Plain = Readonly<Record<string, unknown>>;

/** A plotly figure as plain data. Colours may be CSS variables, which the page replaces before it draws. */
export interface Figure {
  readonly data: readonly Plain[];
  readonly layout: Plain;
  /** What a reader has to know about the drawing itself; may be empty. */
  readonly note: string;
}

/** One of several drawings that stand above each other on a common axis. */
export interface Panel {
  readonly title: string;
  readonly heightPx: number;
  /** Settings of the upright axis. */
  readonly axis: Plain;
  readonly traces: readonly Plain[];
  /** Texts and shapes that stand at values of this panel; given the name of its upright axis. */
  readonly texts?: (axis: string) => readonly Plain[];
  readonly shapes?: (axis: string) => readonly Plain[];
}

const titlePx = 30;
const marginPx = { left: 48, right: 8, top: 6, bottom: 48 };

/**
 * Panels one above the other on one axis, each with its title above it, so that a phone's width is enough.
 * @param axis - settings of the level axis
 */
export function stacked(panels: readonly Panel[], axis: Plain, note: string): Figure {
  const insidePx = panels.reduce((sum, { heightPx }) => sum + heightPx + titlePx, 0);
  const layout: Record<string, unknown> = {};
  const [annotations, shapes, data]: [Plain[], Plain[], Plain[]] = [[], [], []];
  let topPx = insidePx;
  panels.forEach((panel, index) => {
    const number = index === 0 ? "" : String(index + 1);
    topPx -= titlePx;
    layout[`yaxis${number}`] = {
      zeroline: false,
      ...panel.axis,
      domain: [(topPx - panel.heightPx) / insidePx, topPx / insidePx],
    };
    annotations.push({
      ...chartLabel(`<b>${panel.title}</b>`),
      xref: "paper",
      x: 0,
      yref: "paper",
      y: topPx / insidePx,
      yanchor: "bottom",
      yshift: 3,
    });
    data.push(...panel.traces.map((trace) => ({ ...trace, yaxis: `y${number}` })));
    annotations.push(...(panel.texts?.(`y${number}`) ?? []));
    shapes.push(...(panel.shapes?.(`y${number}`) ?? []));
    topPx -= panel.heightPx;
  });
  // Ticks named in two lines need more room below.
  const isTall = Array.isArray(axis.ticktext) && axis.ticktext.some((text) => String(text).includes("<br>"));
  const bottomPx = marginPx.bottom + (isTall ? 14 : 0);
  return {
    data,
    note,
    layout: {
      ...layout,
      height: insidePx + marginPx.top + bottomPx,
      margin: { l: marginPx.left, r: marginPx.right, t: marginPx.top, b: bottomPx },
      showlegend: false,
      hovermode: "closest",
      xaxis: { zeroline: false, anchor: panels.length === 1 ? "y" : `y${panels.length}`, ...axis },
      shapes,
      annotations,
    },
  };
}

/** Ticks of a logarithmic axis at 1, 2 and 5 of every power of ten, at most about eight. */
export function logTicks(low: number, high: number, name: (value: number) => string = String): Plain {
  const all: number[] = [];
  for (let power = Math.floor(Math.log10(low)); power <= Math.ceil(Math.log10(high)); power++)
    for (const digit of [1, 2, 5]) all.push(Number(`${digit}e${power}`));
  const inside = all.filter((value) => value >= low * 0.999 && value <= high * 1.001);
  const ticks = inside.length > 8 ? inside.filter((value) => /^1e/.test(value.toExponential())) : inside;
  return { tickvals: ticks, ticktext: ticks.map(name) };
}

/** A text in a chart; placed by what is added. */
export const chartLabel = (text: string, color = "var(--ink)", size = 12) => ({
  text,
  showarrow: false,
  xanchor: "left",
  align: "left",
  font: { size, color },
});

/**
 * What is drawn: three digits or a tenth, finer than a screen shows. Altitudes to all digits would give the observer's
 * place away. Null where nothing was measured.
 */
export const drawn = (value: number): number | null => {
  if (!Number.isFinite(value)) return null;
  const size = Math.abs(value);
  return Number(value.toFixed(size >= 1000 ? 0 : size >= 10 ? 1 : 2));
};
