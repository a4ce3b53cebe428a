import type TS from "typescript";
import { CallError } from "../terms/errors.js";
import { type Cell, type CodeCell, type Json, type Notebook, tagsOf } from "./notebook-shape.js";
import ts from "./typescript.js";

/** A value that a notebook lets its reader change. */
export interface Parameter {
  readonly name: string;
  readonly keyword: "const" | "let" | "var";
  /** The type as written behind the name; empty where there is none. */
  readonly type: string;
  /** The default as written. */
  readonly default: string;
  /** What kind of plain value the default is; null where it is something else. */
  readonly kind: "text" | "number" | "true or false" | null;
}

/** The parameters of a notebook: what its cell tagged `parameters` declares, in order. */
export function parametersOf(notebook: Notebook): Parameter[] {
  const cell = notebook.cells.find((each) => tagsOf(each).includes("parameters"));
  if (cell === undefined) return [];
  const file = ts.createSourceFile("parameters.ts", cell.source, ts.ScriptTarget.Latest, true);
  return file.statements.flatMap((statement) => {
    if (!ts.isVariableStatement(statement)) return [];
    const { flags, declarations } = statement.declarationList;
    const keyword = flags & ts.NodeFlags.Const ? "const" : flags & ts.NodeFlags.Let ? "let" : "var";
    return declarations.flatMap(({ name, type, initializer }): Parameter[] =>
      ts.isIdentifier(name) && initializer !== undefined
        ? [
            {
              name: name.text,
              keyword,
              type: type?.getText(file) ?? "",
              default: initializer.getText(file),
              kind: kindOf(initializer),
            },
          ]
        : [],
    );
  });
}

function kindOf(node: TS.Expression): Parameter["kind"] {
  if (ts.isStringLiteral(node) || ts.isNoSubstitutionTemplateLiteral(node)) return "text";
  if (ts.isNumericLiteral(node)) return "number";
  if (ts.isPrefixUnaryExpression(node) && ts.isNumericLiteral(node.operand)) return "number";
  const { kind } = node;
  return kind === ts.SyntaxKind.TrueKeyword || kind === ts.SyntaxKind.FalseKeyword ? "true or false" : null;
}

/**
 * The notebook with other values for some of its parameters. They go into a cell of their own, tagged
 * `injected-parameters`, behind the defaults: both stay to be seen. A cell injected earlier is replaced.
 * @throws CallError when the notebook has no such parameter, or its default is of another kind than the value
 */
export function withParameters(notebook: Notebook, values: { readonly [name: string]: Json }): Notebook {
  const names = Object.keys(values);
  const at = notebook.cells.findIndex((cell) => tagsOf(cell).includes("parameters"));
  if (at < 0 && names.length > 0)
    throw new CallError(
      `The notebook has no cell tagged 'parameters', so ${names.join(", ")} cannot be set. Tag the cell that holds the defaults`,
    );
  const cells = notebook.cells.filter((cell) => !tagsOf(cell).includes("injected-parameters"));
  if (names.length === 0) return { ...notebook, cells };
  const parameters = new Map(parametersOf(notebook).map((parameter) => [parameter.name, parameter]));
  const lines = names.map((name) => {
    const parameter = parameters.get(name);
    if (parameter === undefined)
      throw new CallError(
        `The notebook has no parameter '${name}'. Its parameters are: ${[...parameters.keys()].join(", ") || "none"}`,
      );
    return declaration(parameter, values[name]!);
  });
  const injected: CodeCell = {
    cell_type: "code",
    id: freeId("injected-parameters", cells),
    metadata: { tags: ["injected-parameters"] },
    source: ["// Given for this run; they replace the defaults above.", ...lines].join("\n"),
    execution_count: null,
    outputs: [],
  };
  const behind = cells.findIndex((cell) => tagsOf(cell).includes("parameters")) + 1;
  return { ...notebook, cells: [...cells.slice(0, behind), injected, ...cells.slice(behind)] };
}

function declaration({ name, keyword, type, kind, default: usual }: Parameter, value: Json): string {
  const given = typeof value === "string" ? "text" : typeof value === "number" ? "number" : "true or false";
  const plain = typeof value === "string" || typeof value === "number" || typeof value === "boolean";
  // With a type written out the compiler knows better than this what fits.
  if (type === "" && kind !== null && (!plain || given !== kind))
    throw new CallError(
      `${name} is ${kind} in the notebook (${usual}), and ${JSON.stringify(value)} is not. ${kind === "text" ? `For a text that looks like something else write ${name}='"..."'` : `Give ${kind}`}`,
    );
  return `${keyword} ${name}${type === "" ? "" : `: ${type}`} = ${JSON.stringify(value)};`;
}

function freeId(wanted: string, cells: readonly Cell[]): string {
  const used = new Set(cells.map(({ id }) => id));
  let id = wanted;
  for (let n = 2; used.has(id); n++) id = `${wanted}-${n}`;
  return id;
}
