import { CallError } from "../terms/errors.js";
import { checkNotebook } from "./check-notebook.js";
import { type Cell, isJsonMime, isObject, type JsonObject, type Notebook, type Output } from "./notebook-shape.js";

/**
 * Reads the text of an .ipynb file. Notebooks of nbformat 4.0 to 4.4, which have no cell ids yet, are lifted to 4.5;
 * their cells get ids by position.
 * @param file - name for messages
 * @throws CallError when the text is no JSON, not a notebook, of nbformat 3 or older, or against the rules of the format
 */
export function parseNotebook(text: string, file: string): Notebook {
  let json: unknown;
  try {
    json = JSON.parse(text.replace(/^\ufeff/, ""));
  } catch (cause) {
    throw new CallError(
      `Cannot read the notebook ${file}: it is no JSON (${(cause as Error).message}). Give a file that a notebook program saved as .ipynb`,
      { cause },
    );
  }
  if (!isObject(json) || json.nbformat === undefined)
    throw new CallError(`${file} is no notebook: it has no field nbformat. Give an .ipynb file`);
  if (typeof json.nbformat === "number" && json.nbformat < 4)
    throw new CallError(
      `${file} is of nbformat ${json.nbformat}, which ended in 2015. Open and save it once in JupyterLab to bring it to nbformat 4`,
    );
  const lifted = lift(json);
  const [first, ...more] = checkNotebook(lifted);
  if (first !== undefined)
    throw new CallError(
      `${file} breaks the rules of nbformat 4.5: ${first.place}: ${first.problem}${more.length > 0 ? ` (and ${more.length} more)` : ""}. Save it again in a notebook program, or correct it there`,
    );
  return joined(lifted as unknown as RawNotebook);
}

type Plain = { readonly [name: string]: unknown };

/** nbformat 4.0 to 4.4 differ from 4.5 in what a cell must have: an id. */
function lift(json: Plain): Plain {
  const { nbformat_minor: minor, cells } = json;
  if (json.nbformat !== 4 || typeof minor !== "number" || minor >= 5 || !Array.isArray(cells)) return json;
  const used = new Set(cells.map((cell) => (isObject(cell) ? cell.id : undefined)));
  const withIds = cells.map((cell: unknown, index) => {
    if (!isObject(cell) || typeof cell.id === "string") return cell;
    let id = `cell-${index + 1}`;
    while (used.has(id)) id += "-";
    used.add(id);
    return { id, ...cell };
  });
  return { ...json, nbformat_minor: 5, cells: withIds };
}

type Lines = string | readonly string[];
type RawBundle = { readonly [mime: string]: unknown };
interface RawNotebook {
  readonly cells: readonly {
    readonly cell_type: Cell["cell_type"];
    readonly id: string;
    readonly metadata: JsonObject;
    readonly source: Lines;
    readonly execution_count: number | null;
    readonly outputs: readonly ({ readonly data: RawBundle; readonly text: Lines } & Plain)[];
    readonly attachments?: { readonly [name: string]: RawBundle };
  }[];
  readonly metadata: JsonObject;
  readonly nbformat_minor: number;
}

/** Lists of lines become one text. `trusted` and its like are one machine's opinion and never belong in a file. */
function joined({ cells, metadata, nbformat_minor }: RawNotebook): Notebook {
  const { orig_nbformat: _format, signature: _signature, ...kept } = metadata;
  return {
    cells: cells.map(({ cell_type, id, metadata: { trusted: _trusted, ...own }, source, ...rest }): Cell => {
      const shared = { id, metadata: own, source: text(source) };
      if (cell_type === "code")
        return { cell_type, ...shared, execution_count: rest.execution_count, outputs: rest.outputs.map(output) };
      const { attachments } = rest;
      if (attachments === undefined) return { cell_type, ...shared };
      const bundles = Object.entries(attachments).map(([name, content]) => [name, bundle(content)]);
      return { cell_type, ...shared, attachments: Object.fromEntries(bundles) };
    }),
    metadata: kept,
    nbformat: 4,
    nbformat_minor,
  };
}

function output(raw: RawNotebook["cells"][number]["outputs"][number]): Output {
  const whole = { ...raw, ...(raw.data && { data: bundle(raw.data) }), ...(raw.text && { text: text(raw.text) }) };
  return whole as unknown as Output;
}

const text = (lines: Lines): string => (typeof lines === "string" ? lines : lines.join(""));
const bundle = (raw: RawBundle): JsonObject =>
  Object.fromEntries(
    Object.entries(raw).map(([mime, content]) => [mime, isJsonMime(mime) ? content : text(content as Lines)]),
  ) as JsonObject;
