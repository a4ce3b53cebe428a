import { isJsonMime, isObject } from "./notebook-shape.js";

/** Something in a notebook that the format does not allow. */
export interface NotebookProblem {
  /** For example `cell 3 (id tidy-up), output 1`. */
  readonly place: string;
  readonly problem: string;
}

type Plain = { readonly [name: string]: unknown };
type Say = (problem: string) => void;

/**
 * Holds a notebook, as JSON, to the rules of nbformat 4.5: the official JSON schema, and the two rules that the schema
 * only states in words (cell ids are unique, and so are cell names).
 * @returns what is wrong, in the order of the file; empty: the notebook is valid
 */
export function checkNotebook(value: unknown): NotebookProblem[] {
  const problems: NotebookProblem[] = [];
  const at =
    (place: string): Say =>
    (problem) =>
      problems.push({ place, problem });
  const say = at("the notebook");
  if (!isObject(value)) {
    say("is not a JSON object");
    return problems;
  }
  fields(value, { cells: "list", metadata: "object", nbformat: "number", nbformat_minor: "number" }, {}, say);
  if (value.nbformat !== 4) say(`nbformat is ${JSON.stringify(value.nbformat)}, expected 4`);
  if (!isWhole(value.nbformat_minor) || value.nbformat_minor < 5)
    say(`nbformat_minor is ${JSON.stringify(value.nbformat_minor)}, expected 5 or more`);
  if (isObject(value.metadata)) checkMetadata(value.metadata, at("the notebook's metadata"));
  if (!Array.isArray(value.cells)) return problems;
  const ids = new Map<string, number>();
  const names = new Map<string, number>();
  value.cells.forEach((cell: unknown, index) => {
    const number = index + 1;
    const id = isObject(cell) && typeof cell.id === "string" ? ` (id ${cell.id})` : "";
    const place = `cell ${number}${id}`;
    checkCell(cell, place, at);
    if (!isObject(cell)) return;
    unique(cell.id, ids, number, "id", at(place));
    if (isObject(cell.metadata)) unique(cell.metadata.name, names, number, "name", at(place));
  });
  return problems;
}

function unique(value: unknown, seen: Map<string, number>, number: number, what: string, say: Say): void {
  if (typeof value !== "string") return;
  const first = seen.get(value);
  if (first !== undefined) say(`has the ${what} '${value}' of cell ${first}`);
  else seen.set(value, number);
}

function checkMetadata({ kernelspec, language_info, authors, title, orig_nbformat }: Plain, say: Say): void {
  if (kernelspec !== undefined) {
    if (!isObject(kernelspec)) say("kernelspec is no object");
    else
      for (const name of ["name", "display_name"])
        if (typeof kernelspec[name] !== "string") say(`kernelspec.${name} is no text`);
  }
  if (language_info !== undefined) {
    if (!isObject(language_info)) say("language_info is no object");
    else {
      if (typeof language_info.name !== "string") say("language_info.name is no text");
      for (const name of ["file_extension", "mimetype", "pygments_lexer"])
        if (language_info[name] !== undefined && typeof language_info[name] !== "string")
          say(`language_info.${name} is no text`);
      const mode = language_info.codemirror_mode;
      if (mode !== undefined && typeof mode !== "string" && !isObject(mode))
        say("language_info.codemirror_mode is neither text nor object");
    }
  }
  if (title !== undefined && typeof title !== "string") say("title is no text");
  if (authors !== undefined && !Array.isArray(authors)) say("authors is no list");
  if (orig_nbformat !== undefined && !(isWhole(orig_nbformat) && orig_nbformat >= 1))
    say("orig_nbformat is no positive whole number");
}

const cellFields = { id: "text", cell_type: "text", metadata: "object", source: "lines" } as const;

function checkCell(cell: unknown, place: string, at: (place: string) => Say): void {
  const say = at(place);
  if (!isObject(cell)) {
    say("is no JSON object");
    return;
  }
  switch (cell.cell_type) {
    case "code":
      fields(cell, { ...cellFields, outputs: "list", execution_count: "count" }, {}, say);
      if (Array.isArray(cell.outputs))
        cell.outputs.forEach((output: unknown, index) => {
          checkOutput(output, at(`${place}, output ${index + 1}`));
        });
      break;
    case "markdown":
    case "raw":
      fields(cell, cellFields, { attachments: "object" }, say);
      if (isObject(cell.attachments))
        for (const [name, bundle] of Object.entries(cell.attachments)) checkBundle(bundle, `attachment '${name}'`, say);
      break;
    default:
      say(`cell_type is ${JSON.stringify(cell.cell_type)}, expected code, markdown or raw`);
      return;
  }
  if (typeof cell.id === "string" && !/^[a-zA-Z0-9_-]{1,64}$/.test(cell.id))
    say("its id is not 1 to 64 letters, digits, - or _");
  if (isObject(cell.metadata)) checkCellMetadata(cell.metadata, cell.cell_type, say);
}

function checkCellMetadata(metadata: Plain, type: string, say: Say): void {
  const { tags, name, jupyter, collapsed, scrolled, execution, format } = metadata;
  if (tags !== undefined) {
    if (!Array.isArray(tags) || !tags.every((tag) => typeof tag === "string" && /^[^,\n]+$/.test(tag)))
      say("its tags are no list of texts without commas");
    else if (new Set(tags).size < tags.length) say("a tag stands twice");
  }
  if (name !== undefined && (typeof name !== "string" || !/./.test(name))) say("its name is no text or empty");
  if (jupyter !== undefined && !isObject(jupyter)) say("metadata.jupyter is no object");
  if (type === "raw" && format !== undefined && typeof format !== "string") say("metadata.format is no text");
  if (type !== "code") return;
  if (collapsed !== undefined && typeof collapsed !== "boolean") say("metadata.collapsed is neither true nor false");
  if (scrolled !== undefined && typeof scrolled !== "boolean" && scrolled !== "auto")
    say("metadata.scrolled is not true, false or auto");
  if (execution !== undefined)
    if (!isObject(execution) || !Object.values(execution).every((time) => typeof time === "string"))
      say("metadata.execution is no object of texts");
}

function checkOutput(output: unknown, say: Say): void {
  if (!isObject(output)) {
    say("is no JSON object");
    return;
  }
  const { output_type: type } = output;
  switch (type) {
    case "execute_result":
      fields(output, { output_type: "text", data: "object", metadata: "object", execution_count: "count" }, {}, say);
      break;
    case "display_data":
      fields(output, { output_type: "text", data: "object", metadata: "object" }, {}, say);
      break;
    case "stream":
      fields(output, { output_type: "text", name: "text", text: "lines" }, {}, say);
      return;
    case "error":
      fields(output, { output_type: "text", ename: "text", evalue: "text", traceback: "texts" }, {}, say);
      return;
    default:
      say(`output_type is ${JSON.stringify(type)}, expected execute_result, display_data, stream or error`);
      return;
  }
  if (isObject(output.data)) checkBundle(output.data, "its data", say);
}

function checkBundle(bundle: unknown, what: string, say: Say): void {
  if (!isObject(bundle)) {
    say(`${what} is no object`);
    return;
  }
  for (const [mime, content] of Object.entries(bundle))
    if (!isJsonMime(mime) && !is.lines(content)) say(`${what}: ${mime} is neither text nor a list of lines`);
}

const isWhole = (value: unknown): value is number => Number.isInteger(value);
const isTexts = (value: unknown) => Array.isArray(value) && value.every((line) => typeof line === "string");
const is = {
  text: (value: unknown) => typeof value === "string",
  lines: (value: unknown) => typeof value === "string" || isTexts(value),
  texts: isTexts,
  list: (value: unknown) => Array.isArray(value),
  object: isObject,
  number: (value: unknown) => typeof value === "number",
  count: (value: unknown) => value === null || (isWhole(value) && value >= 0),
};
const expected: Readonly<Record<keyof typeof is, string>> = {
  text: "text",
  lines: "text or a list of lines",
  texts: "a list of texts",
  list: "a list",
  object: "an object",
  number: "a number",
  count: "null or a whole number from 0",
};
type Fields = Readonly<Record<string, keyof typeof is>>;

/** Every needed field is there and of its type; no other field than the known ones is there. */
function fields(value: Plain, needed: Fields, optional: Fields, say: Say): void {
  for (const [name, type] of Object.entries(needed))
    if (value[name] === undefined) say(`${name} is missing`);
    else if (!is[type](value[name])) say(`${name} is not ${expected[type]}`);
  for (const [name, type] of Object.entries(optional))
    if (value[name] !== undefined && !is[type](value[name])) say(`${name} is not ${expected[type]}`);
  for (const name of Object.keys(value))
    if (!Object.hasOwn(needed, name) && !Object.hasOwn(optional, name))
      say(`has a field '${name}' that is not allowed`);
}
