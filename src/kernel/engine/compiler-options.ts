import type TS from "typescript";
import ts from "../../notebook/typescript.js";

/**
 * How cells are compiled: strict, but a parameter without a type is `any` (see {@link isLenient}).
 * Output is CommonJS inside a function, so that a cell can use what other cells and packages export at once.
 */
export const compilerOptions: TS.CompilerOptions = {
  target: ts.ScriptTarget.ES2022,
  lib: ["lib.esnext.d.ts"],
  module: ts.ModuleKind.CommonJS,
  moduleResolution: ts.ModuleResolutionKind.Bundler,
  strict: true,
  // Without it an empty array would have the type never[]; the complaints about missing types are left out.
  noImplicitAny: true,
  useUnknownInCatchVariables: false,
  esModuleInterop: true,
  resolveJsonModule: true,
  allowImportingTsExtensions: true,
  skipLibCheck: true,
  sourceMap: true,
  newLine: ts.NewLineKind.LineFeed,
  types: [],
};

/** Errors that do not hold in a cell: await and import.meta are allowed everywhere at its top level. */
const allowedInCells = new Set([1309, 1343, 1375, 1378, 1431, 1432, 2852, 2853, 2854, 5097]);
/** Missing types are taken as `any` without a word. */
const missingTypes = new Set([
  7005, 7006, 7008, 7010, 7011, 7015, 7016, 7017, 7018, 7019, 7022, 7023, 7024, 7031, 7032, 7033, 7034, 7053,
]);

/** True for a complaint of the compiler that does not concern a notebook. */
export const isLenient = (code: number) => allowedInCells.has(code) || missingTypes.has(code);
