import { readFileSync, statSync } from "node:fs";
import { basename, dirname } from "node:path";
import { pathToFileURL } from "node:url";
import vm from "node:vm";
import ts from "../../notebook/typescript.js";
import { compilerOptions } from "./compiler-options.js";
import { importFunction, metaObject, replaceModuleForms } from "./module-forms.js";
import type { StackLines } from "./stack-lines.js";

interface LocalModule {
  readonly exports: Record<string, unknown>;
  readonly modifiedMs: number;
  readonly needs: Set<string>;
  done: Promise<void>;
}

/** How one module gets at others. */
export interface Imports {
  /** For `require` in compiled code; everything it names has been loaded before. */
  readonly require: (name: string) => unknown;
  readonly import: (name: string) => Promise<unknown>;
}

/**
 * Loads what compiled code requires.
 * @param needs - local files it needs are added here
 * @param chain - the files that wait for this one, itself among them
 */
export type ImportsFor = (
  compiled: string,
  file: string,
  needs: Set<string>,
  chain: ReadonlySet<string>,
) => Promise<Imports>;

/** The user's own TypeScript files: compiled and run when a cell imports them, again when they have changed. */
export class LocalModules {
  readonly #modules = new Map<string, LocalModule>();
  readonly #stackLines: StackLines;
  readonly #importsFor: ImportsFor;

  constructor(stackLines: StackLines, importsFor: ImportsFor) {
    this.#stackLines = stackLines;
    this.#importsFor = importsFor;
  }

  /** Forgets every file that has changed, and those that import one. Call before a cell loads what it imports. */
  forgetChanged(): void {
    const changed = new Map<string, boolean>();
    const isChanged = (file: string): boolean => {
      const known = changed.get(file);
      if (known !== undefined) return known;
      changed.set(file, false);
      const module = this.#modules.get(file);
      const now = statSync(file, { throwIfNoEntry: false })?.mtimeMs;
      const result = module === undefined || module.modifiedMs !== now || [...module.needs].some(isChanged);
      changed.set(file, result);
      return result;
    };
    const all = [...this.#modules.keys()];
    const gone = all.filter((file) => isChanged(file));
    for (const file of gone) this.#modules.delete(file);
  }

  /**
   * What a file exports. In a circle of imports it may not be complete yet, as in any module system.
   * @param chain - the files that wait for it
   */
  async load(file: string, chain: ReadonlySet<string>): Promise<Record<string, unknown>> {
    let module = this.#modules.get(file);
    if (module === undefined) {
      const exports: Record<string, unknown> = {};
      module = { exports, modifiedMs: statSync(file).mtimeMs, needs: new Set(), done: Promise.resolve() };
      this.#modules.set(file, module);
      module.done = this.#run(file, module, new Set([...chain, file])).catch((error) => {
        this.#modules.delete(file);
        throw error;
      });
    }
    if (!chain.has(file)) await module.done;
    return module.exports;
  }

  async #run(file: string, module: LocalModule, chain: ReadonlySet<string>): Promise<void> {
    const compiled = ts.transpileModule(readFileSync(file, "utf8"), {
      fileName: file,
      compilerOptions: { ...compilerOptions, isolatedModules: true },
      reportDiagnostics: true,
      transformers: { before: [replaceModuleForms] },
    });
    const [problem] = compiled.diagnostics ?? [];
    if (problem?.file !== undefined && problem.start !== undefined) {
      const { line, character } = problem.file.getLineAndCharacterOfPosition(problem.start);
      const text = ts.flattenDiagnosticMessageText(problem.messageText, "\n");
      throw new SyntaxError(`${file}:${line + 1}:${character + 1}: ${text}`);
    }
    this.#stackLines.remember(file, compiled.sourceMapText ?? "", basename(file));
    const imports = await this.#importsFor(compiled.outputText, file, module.needs, chain);
    const body = vm.runInThisContext(
      `((exports, require, module, __filename, __dirname, ${importFunction}, ${metaObject}) => (async () => {${compiled.outputText}\n})())`,
      { filename: file },
    );
    await body(module.exports, imports.require, module, file, dirname(file), imports.import, metaOf(file));
  }
}

/** What `import.meta` gives in a file. */
export const metaOf = (file: string) =>
  Object.freeze({ url: pathToFileURL(file).href, filename: file, dirname: dirname(file) });
