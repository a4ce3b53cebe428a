import vm from "node:vm";
import { namesFunction, resultObject } from "./cell-text.js";
import type { Imports } from "./local-modules.js";
import { importFunction, metaObject } from "./module-forms.js";
import type { Access } from "./scope.js";

const parameters = [
  "exports",
  "require",
  "module",
  "__filename",
  "__dirname",
  importFunction,
  metaObject,
  namesFunction,
  resultObject,
];

/** What a compiled cell is given. */
export interface CellWorld {
  readonly exports: object;
  readonly imports: Imports;
  readonly meta: { readonly filename: string; readonly dirname: string };
  /** Takes the cell's names. */
  readonly names: (offered: Readonly<Record<string, Access>>) => void;
}

const handOver = Symbol.for("nightyield.kernel.call");
const call = new vm.Script(`globalThis[Symbol.for("nightyield.kernel.call")]()`, { filename: "cell-call" });

/**
 * Runs a compiled cell and gives the value of its last expression.
 * The part up to the first `await` can be stopped by SIGINT.
 */
export async function runScript(compiled: string, script: string, world: CellWorld): Promise<unknown> {
  const make = vm.runInThisContext(
    `(function (${parameters.join(", ")}) { return (async function __run() {${compiled}\n}).call(undefined); })`,
    { filename: script },
  );
  const result: { value?: unknown } = {};
  const { exports, imports, meta, names } = world;
  const given = [
    exports,
    imports.require,
    { exports },
    meta.filename,
    meta.dirname,
    imports.import,
    meta,
    names,
    result,
  ];
  (globalThis as Record<symbol, unknown>)[handOver] = () => make(...given);
  const running: Promise<void> = call.runInThisContext({ breakOnSigint: true });
  (globalThis as Record<symbol, unknown>)[handOver] = undefined;
  await running;
  return result.value;
}
