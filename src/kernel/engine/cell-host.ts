import { statSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import type TS from "typescript";
import ts from "../../notebook/typescript.js";
import { globalsText } from "../show/notebook-globals.js";
import type { CellSource } from "./cell-source.js";
import { namesFunction } from "./cell-text.js";
import { compilerOptions } from "./compiler-options.js";
import { replaceModuleForms } from "./module-forms.js";
import { shapeCell } from "./shape-cell.js";

/** A file inside this package: from here the library and what it needs are found, wherever the notebook lies. */
export const ownFile = fileURLToPath(import.meta.url);

/** Lies in this package, so that its import is found. */
const globalsFile = join(ownFile, "../__globals__.ts").replaceAll("\\", "/");

/** Three quarters of Node's types are comments. Reading without them makes the kernel start a sixth of a second sooner. */
const isNodeTypes = /\/node_modules\/@types\/node\//;
const docComments = /\/\*\*[\s\S]*?\*\//g;

interface VirtualFile {
  readonly version: number;
  readonly snapshot: TS.IScriptSnapshot;
  readonly text: string;
}

/** The files the compiler sees: virtual ones for the cells, the disk for everything else. */
export class CellHost implements TS.LanguageServiceHost {
  readonly #folder: string;
  readonly #files = new Map<string, VirtualFile>();
  readonly #cells = new Map<string, CellSource>();
  readonly #roots: readonly string[];
  readonly #snapshots = new Map<string, { version: string; snapshot: TS.IScriptSnapshot }>();
  readonly #resolutions: TS.ModuleResolutionCache;
  readonly #packages = new Map<string, string | undefined>();
  #version = 0;

  constructor(folder: string) {
    this.#folder = folder;
    this.#roots = [nodeTypes(folder)].flatMap((file) => file ?? []);
    this.write(
      globalsFile,
      `${globalsText()}\ndeclare global { function ${namesFunction}(...read: (() => unknown)[]): void }`,
    );
    const canonical = (name: string) => (this.useCaseSensitiveFileNames() ? name : name.toLowerCase());
    this.#resolutions = ts.createModuleResolutionCache(folder, canonical, compilerOptions);
  }

  /** Puts a text in a virtual file; the same text again changes nothing. */
  write(file: string, text: string, cell?: CellSource): void {
    if (cell === undefined) this.#cells.delete(file);
    else this.#cells.set(file, cell);
    if (this.#files.get(file)?.text === text) return;
    this.#files.set(file, { text, version: ++this.#version, snapshot: ts.ScriptSnapshot.fromString(text) });
  }

  /** Forget what was resolved, because files may have come or gone. */
  forgetResolutions(): void {
    this.#packages.clear();
    this.#resolutions.clear();
  }

  getCompilationSettings = () => compilerOptions;
  getCurrentDirectory = () => this.#folder;
  getDefaultLibFileName = (options: TS.CompilerOptions) => ts.getDefaultLibFilePath(options);
  getScriptFileNames = () => [...this.#roots, ...this.#files.keys()];
  useCaseSensitiveFileNames = () => ts.sys.useCaseSensitiveFileNames;
  getCustomTransformers = (): TS.CustomTransformers => ({
    before: [shapeCell((file) => this.#cells.get(file)), replaceModuleForms],
  });

  getScriptVersion = (file: string): string => {
    const virtual = this.#files.get(file);
    if (virtual !== undefined) return String(virtual.version);
    // Packages do not change while a kernel runs; the user's own files do.
    if (file.includes("/node_modules/")) return "installed";
    return String(statSync(file, { throwIfNoEntry: false })?.mtimeMs ?? "gone");
  };

  getScriptSnapshot = (file: string): TS.IScriptSnapshot | undefined => {
    const virtual = this.#files.get(file);
    if (virtual !== undefined) return virtual.snapshot;
    const version = this.getScriptVersion(file);
    const known = this.#snapshots.get(file);
    if (known?.version === version) return known.snapshot;
    const text = ts.sys.readFile(file);
    if (text === undefined) return undefined;
    const snapshot = ts.ScriptSnapshot.fromString(isNodeTypes.test(file) ? text.replace(docComments, "") : text);
    this.#snapshots.set(file, { version, snapshot });
    return snapshot;
  };

  fileExists = (file: string) => this.#files.has(file) || ts.sys.fileExists(file);
  readFile = (file: string) => {
    if (file.endsWith("/package.json")) return this.#packageText(file);
    return this.#files.get(file)?.text ?? ts.sys.readFile(file);
  };
  readDirectory: NonNullable<TS.LanguageServiceHost["readDirectory"]> = (...args) => ts.sys.readDirectory(...args);
  directoryExists = (folder: string) => ts.sys.directoryExists(folder);
  getDirectories = (folder: string) => ts.sys.getDirectories(folder);
  realpath = (path: string) => ts.sys.realpath?.(path) ?? path;

  resolveModuleNameLiterals = (
    literals: readonly TS.StringLiteralLike[],
    containing: string,
    redirected: TS.ResolvedProjectReference | undefined,
    options: TS.CompilerOptions,
  ): TS.ResolvedModuleWithFailedLookupLocations[] =>
    literals.map(({ text }) => {
      const from = (file: string) => ts.resolveModuleName(text, file, options, this, this.#resolutions, redirected);
      const found = from(containing);
      const relative = text.startsWith(".") || text.startsWith("/");
      return found.resolvedModule === undefined && !relative ? from(ownFile) : found;
    });

  /** A package.json, short: the compiler reads and parses it anew for every file of every program. */
  #packageText(file: string): string | undefined {
    if (!this.#packages.has(file)) {
      const text = ts.sys.readFile(file);
      this.#packages.set(file, text === undefined ? undefined : shortened(text));
    }
    return this.#packages.get(file);
  }

  /** The TypeScript file of the user's that a module name stands for; undefined for packages and the like. */
  localFile(name: string, from: string): string | undefined {
    const { resolvedFileName: found } =
      ts.resolveModuleName(name, from, compilerOptions, this, this.#resolutions).resolvedModule ?? {};
    if (found === undefined || found.includes("/node_modules/")) return undefined;
    return /(?<!\.d)\.[cm]?tsx?$/.test(found) ? found : undefined;
  }
}

/** What the compiler looks for in a package.json. */
const packageFields = ["name", "version", "type", "main", "types", "typings", "typesVersions", "exports", "imports"];

/** The types of Node: the notebook's own if it has them. */
function nodeTypes(folder: string): string | undefined {
  for (const from of [join(folder, "notebook.js"), ownFile])
    try {
      return join(createRequire(from).resolve("@types/node/package.json"), "../index.d.ts").replaceAll("\\", "/");
    } catch {}
  return undefined;
}

function shortened(packageText: string): string {
  try {
    return JSON.stringify(JSON.parse(packageText), (key, value) =>
      // The top level has the empty key; what lies deeper is kept whole.
      key === "" ? Object.fromEntries(Object.entries(value).filter(([name]) => packageFields.includes(name))) : value,
    );
  } catch {
    return packageText;
  }
}
