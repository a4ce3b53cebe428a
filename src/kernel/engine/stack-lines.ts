import { decodeMappings, type Segment } from "./source-map.js";

/** How many texts are remembered for mapping; enough for every living cell of a long session. */
const remembered = 512;

interface Known {
  readonly map: string;
  readonly label: string;
  lines?: readonly (readonly Segment[])[];
}

/** Maps places in compiled code back to what the user wrote. */
export class StackLines {
  readonly #known = new Map<string, Known>();

  /**
   * @param script - the name the compiled code runs under
   * @param map - its source map, JSON
   * @param label - how the place is called to the user, for example "Cell [3]"
   */
  remember(script: string, map: string, label: string): void {
    this.#known.delete(script);
    this.#known.set(script, { map, label });
    if (this.#known.size > remembered) this.#known.delete(this.#known.keys().next().value!);
  }

  /** A stack's frames, only those in cells and in the user's files, with the user's lines. */
  frames(stack: string): string[] {
    const lines = stack.split("\n").filter((line) => /^\s+at /.test(line));
    return lines.flatMap((line) => {
      const place = /\(?((?:cell:\d+|file:\/\/.+|\/.+|[A-Za-z]:[\\/].+)):(\d+):(\d+)\)?$/.exec(
        line.replace(/^\s+at (?:async )?/, ""),
      );
      if (place === null) return [];
      const [all, script, row, column] = place as unknown as [string, string, string, string];
      const mapped = this.#original(script, Number(row), Number(column));
      if (mapped === undefined) return isOurs(script) ? [] : [line];
      const caller = /at (?:async )?(.+?) \($/.exec(line.slice(0, line.length - all.length + 1))?.[1];
      // The function around a cell is not the user's.
      const named = caller !== undefined && !/^(?:__run|eval|Object\.<anonymous>)$/.test(caller);
      return [named ? `    at ${caller} (${mapped.text})` : `    at ${mapped.text}`];
    });
  }

  /** The first place of a stack that lies in the given script, in the user's lines. */
  placeIn(stack: string, script: string): { line: number; column: number } | undefined {
    for (const match of stack.matchAll(/(cell:\d+):(\d+):(\d+)/g))
      if (match[1] === script) return this.#original(script, Number(match[2]), Number(match[3]));
    return undefined;
  }

  #original(script: string, line: number, column: number) {
    const known = this.#known.get(script);
    if (known === undefined) return undefined;
    known.lines ??= decodeMappings(JSON.parse(known.map).mappings);
    const segments = known.lines[line - 1] ?? [];
    let best = segments[0];
    for (const segment of segments) if (segment.column <= column - 1) best = segment;
    if (best === undefined) return undefined;
    return {
      line: best.sourceLine + 1,
      column: best.sourceColumn + 1,
      text: `${known.label}:${best.sourceLine + 1}:${best.sourceColumn + 1}`,
    };
  }
}

const ownFolder = new URL("..", import.meta.url).href;
const isOurs = (script: string) =>
  script.startsWith("cell:") || script.startsWith(ownFolder) || script.includes("/node_modules/typescript/");
