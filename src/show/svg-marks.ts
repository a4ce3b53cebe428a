const round = (value: number) => Number(value.toFixed(1));

/** The shapes of the verdicts and of the other marks, as in the moving charts. */
export function markSvg(symbol: string, x: number, y: number, size: number): string {
  const r = size / 2;
  const open = symbol.endsWith("-open") ? ' fill="none" stroke-width="2"' : ' stroke="none"';
  switch (symbol.replace("-open", "")) {
    case "diamond":
      return `<path d="M${round(x)} ${round(y - 1.25 * r)}l${round(1.25 * r)} ${round(1.25 * r)}l${round(-1.25 * r)} ${round(1.25 * r)}l${round(-1.25 * r)} ${round(-1.25 * r)}z"${open}/>`;
    case "square":
      return `<path d="M${round(x - r)} ${round(y - r)}h${round(size)}v${round(size)}h${round(-size)}z"${open}/>`;
    case "x":
      return `<path d="M${round(x - r)} ${round(y - r)}l${round(size)} ${round(size)}m0 ${round(-size)}l${round(-size)} ${round(size)}" stroke-width="${round(Math.max(1.6, size / 3))}"/>`;
    case "triangle-up":
      return `<path d="M${round(x)} ${round(y - r)}l${round(r)} ${round(size)}h${round(-size)}z"${open}/>`;
    case "triangle-left":
      return `<path d="M${round(x - r)} ${round(y)}l${round(size)} ${round(-r)}v${round(size)}z"${open}/>`;
    case "triangle-right":
      return `<path d="M${round(x + r)} ${round(y)}l${round(-size)} ${round(-r)}v${round(size)}z"${open}/>`;
    default:
      return `<circle cx="${round(x)}" cy="${round(y)}" r="${round(r)}"${open}/>`;
  }
}

const side = 6;

/** A hatching, as in the moving charts. */
export function patternSvg(id: string, shape: string, colour: string, ground: string, solidity: number): string {
  const lines: Readonly<Record<string, string>> = {
    "/": `M-1 1l2 -2M0 ${side}l${side} ${-side}M${side - 1} ${side + 1}l2 -2`,
    "\\": `M-1 ${side - 1}l2 2M0 0l${side} ${side}M${side - 1} -1l2 2`,
    x: `M0 0l${side} ${side}M0 ${side}l${side} ${-side}`,
    "-": `M0 ${side / 2}h${side}`,
    "|": `M${side / 2} 0v${side}`,
    "+": `M0 ${side / 2}h${side}M${side / 2} 0v${side}`,
  };
  const inside =
    solidity >= 1
      ? `<rect width="${side}" height="${side}" fill="${colour}"/>`
      : shape === "."
        ? `<circle cx="${side / 2}" cy="${side / 2}" r="${1 + 1.6 * solidity}" fill="${colour}"/>`
        : `<path d="${lines[shape] ?? ""}" stroke="${colour}" stroke-width="${0.7 + 2.4 * solidity}" fill="none"/>`;
  return `<pattern id="${id}" width="${side}" height="${side}" patternUnits="userSpaceOnUse"><rect width="${side}" height="${side}" fill="${ground}"/>${inside}</pattern>`;
}
