import { join } from "node:path";
import type TS from "typescript";
import ts from "../../notebook/typescript.js";
import { CellHost } from "./cell-host.js";
import { type CellSource, readCell } from "./cell-source.js";
import {
  cellText,
  emptyCellText,
  nameInSlot,
  neededNames,
  sessionModule,
  sessionText,
  slotModule,
} from "./cell-text.js";
import { CompileError } from "./compile-error.js";
import { type Completion, completionsAt } from "./complete.js";
import { describeAt } from "./inspect.js";
import { metaOf } from "./local-modules.js";
import { Modules } from "./modules.js";
import { problemsIn } from "./problems.js";
import { runScript } from "./run-script.js";
import { type Access, Scope } from "./scope.js";
import { Slots } from "./slots.js";
import { StackLines } from "./stack-lines.js";

/** A cell that runs, until its names are taken over. */
interface Running {
  readonly cell: CellSource;
  readonly slot: number;
  offered: Readonly<Record<string, Access>>;
}

/** Compiles cells, runs them in order and remembers what they made. One cell at a time. */
export class Engine {
  readonly stackLines = new StackLines();
  readonly #folder: string;
  /** What `import.meta` says, as a kernel is not told the notebook's name. */
  readonly #notebookFile: string;
  readonly #host: CellHost;
  readonly #service: TS.LanguageService;
  readonly #slots = new Slots();
  readonly #scope = new Scope();
  readonly #modules: Modules;
  #runs = 0;
  #running: Running | undefined;

  /** @param folder - relative imports start here */
  constructor(folder: string) {
    this.#folder = folder.replaceAll("\\", "/");
    this.#notebookFile = join(folder, "notebook.ts");
    this.#host = new CellHost(this.#folder);
    this.#service = ts.createLanguageService(this.#host, ts.createDocumentRegistry());
    this.#modules = new Modules(this.#host, this.stackLines);
    this.#slots.next();
    this.#writeSession();
  }

  /** Reads the libraries' types, so that the first cell need not. */
  warmUp(): void {
    const file = this.#place(readCell("console.log([1].map((x) => x + 1));"), this.#slots.next());
    problemsIn(this.#service, file, 0);
    this.#service.getEmitOutput(file);
  }

  /**
   * Runs a cell.
   * @param label - how the cell is called in error messages, for example "Cell [3]"
   * @returns the value of its last expression, undefined without one
   * @throws CompileError when it does not compile (then nothing has run); else whatever the cell throws
   */
  async run(code: string, label: string): Promise<unknown> {
    const cell = readCell(code);
    const slot = this.#slots.next();
    const needed = neededNames(cell, cell.mentioned, this.#slots.homes);
    const file = this.#place(cell, slot);
    const problems = problemsIn(this.#service, file, code.length);
    for (const name of problems.length === 0 ? cell.relativeImports : []) {
      const imported = this.#host.localFile(name, file);
      if (imported !== undefined) problems.push(...problemsIn(this.#service, imported));
    }
    if (problems.some((problem) => problem.code === 2307)) this.#host.forgetResolutions();
    if (problems.length > 0) throw new CompileError(problems, code, label);
    const { compiled, map } = this.#emit(file);
    const script = `cell:${++this.#runs}`;
    this.stackLines.remember(script, map, label);
    const exports = {};
    const session = {};
    const variables = [...needed].filter(([, home]) => home.kind === "variable").map(([name]) => [name, name] as const);
    this.#scope.showOn(exports, variables);
    this.#scope.showOn(
      session,
      [...needed].map(([name, home]) => [nameInSlot(name, home.slot), name] as const),
    );
    const imports = await this.#modules.importsForCell(compiled, file, new Map([[sessionModule, session]]));
    const running: Running = { cell, slot, offered: {} };
    this.#running = running;
    try {
      const names = (offered: Readonly<Record<string, Access>>) => {
        running.offered = offered;
      };
      return await runScript(compiled, script, { exports, imports, meta: metaOf(this.#notebookFile), names });
    } finally {
      // After an interrupt the next cell may be running: what this one makes so late is not taken over.
      if (this.#running === running) this.settle();
    }
  }

  /** Takes over what the running cell has made so far. Call when it is given up; its names stay as they are then. */
  settle(): void {
    const running = this.#running;
    if (running === undefined) return;
    this.#running = undefined;
    const { cell, slot, offered } = running;
    const values = Scope.existing(offered);
    const types = [...cell.declared]
      .filter(([name, kind]) => kind === "type" || !(name in offered))
      .map(([name]) => name);
    for (const name of types) this.#scope.remove(name);
    for (const name of values) this.#scope.set(name, offered[name]!);
    const freed = this.#slots.settle(slot, cell, [...types, ...values]);
    for (const free of freed) this.#host.write(this.#slotFile(free), emptyCellText);
    this.#writeSession();
  }

  /** @param position - in UTF-16 units, as strings count */
  complete(code: string, position: number): Completion {
    const file = this.#place(readCell(code), this.#slots.next(), this.#slots.homes.keys());
    return completionsAt(this.#service, file, code, position);
  }

  /** What is known of the name at a position: its type and documentation. */
  inspect(code: string, position: number): string | undefined {
    const file = this.#place(readCell(code), this.#slots.next(), this.#slots.homes.keys());
    return describeAt(this.#service, file, code, position);
  }

  /** Puts a cell where the compiler sees it, with the names of earlier cells that it mentions. */
  #place(cell: CellSource, slot: number, mentioned: Iterable<string> = cell.mentioned): string {
    const file = this.#slotFile(slot);
    this.#writeSession();
    this.#host.write(file, cellText(cell, neededNames(cell, mentioned, this.#slots.homes)), cell);
    return file;
  }

  #slotFile = (slot: number) => join(this.#folder, `${slotModule(slot)}.ts`).replaceAll("\\", "/");

  #written = 0;
  #writeSession(): void {
    for (; this.#written < this.#slots.count; this.#written++)
      this.#host.write(this.#slotFile(this.#written), emptyCellText);
    this.#host.write(join(this.#folder, `${sessionModule}.ts`).replaceAll("\\", "/"), sessionText(this.#slots));
  }

  #emit(file: string): { compiled: string; map: string } {
    const files = this.#service.getEmitOutput(file).outputFiles;
    const ending = (end: string) => files.find(({ name }) => name.endsWith(end))?.text ?? "";
    return { compiled: ending(".js"), map: ending(".js.map") };
  }
}
