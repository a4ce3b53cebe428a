/** One stretch of compiled code. All numbers count from 0. */
export interface Segment {
  readonly column: number;
  readonly sourceLine: number;
  readonly sourceColumn: number;
}

const digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

/**
 * The segments of each compiled line, from the `mappings` of a source map with one source
 * (base-64 variable-length quantities; ECMA-426, section "Mappings").
 */
export function decodeMappings(mappings: string): Segment[][] {
  let sourceLine = 0;
  let sourceColumn = 0;
  return mappings.split(";").map((line) => {
    let column = 0;
    return line.split(",").flatMap((text) => {
      const [columnStep, , lineStep, sourceColumnStep] = quantities(text);
      if (columnStep === undefined) return [];
      column += columnStep;
      if (lineStep === undefined || sourceColumnStep === undefined) return [];
      sourceLine += lineStep;
      sourceColumn += sourceColumnStep;
      return [{ column, sourceLine, sourceColumn }];
    });
  });
}

function quantities(text: string): number[] {
  const found: number[] = [];
  let value = 0;
  let shift = 0;
  for (const digit of text) {
    const bits = digits.indexOf(digit);
    value |= (bits & 31) << shift;
    shift += 5;
    if (bits & 32) continue;
    found.push(value & 1 ? -(value >>> 1) : value >>> 1);
    value = 0;
    shift = 0;
  }
  return found;
}
