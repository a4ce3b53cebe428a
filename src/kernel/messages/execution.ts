import type { Engine } from "../engine/engine.js";
import { mimeBundle } from "../show/mime-bundle.js";
import { isShownAlready } from "../show/shown.js";
import type { Request } from "../wire/link.js";
import { type CellError, cellError, Interrupted } from "./cell-error.js";
import type { History } from "./history.js";
import { type Fields, isRecord, type MimeBundle } from "./message.js";
import type { Output } from "./output.js";
import type { Stdin } from "./stdin.js";

/** Runs execute_requests, one at a time. */
export class Execution {
  readonly #engine: Engine;
  readonly #output: Output;
  readonly #history: History;
  readonly #stdin: Stdin;
  #count = 0;
  #giveUp: ((error: Interrupted) => void) | undefined;
  #payload: Fields[] = [];

  constructor(engine: Engine, output: Output, history: History, stdin: Stdin) {
    this.#engine = engine;
    this.#output = output;
    this.#history = history;
    this.#stdin = stdin;
  }

  get count(): number {
    return this.#count;
  }

  /** The cell that runs now ends with an error. Nothing happens when none runs. */
  interrupt(): void {
    this.#giveUp?.(new Interrupted());
  }

  /** Something for the client's pager, with the reply. */
  page(data: MimeBundle): void {
    this.#payload.push({ source: "page", data, start: 0 });
  }

  /** The content of the execute_reply. Output and errors have been published when it is given. */
  async run(request: Request): Promise<Fields> {
    const { code, silent: quiet, store_history: store, user_expressions: expressions } = request.content;
    if (typeof code !== "string") return refused("The request holds no code", this.#count);
    const silent = quiet === true;
    if (!silent && store !== false) this.#history.add(++this.#count, code);
    const count = this.#count;
    this.#payload = [];
    this.#stdin.askThrough(request);
    this.#output.belongTo(request.header, silent);
    this.#output.publish("execute_input", { code, execution_count: count });
    let error: CellError | undefined;
    try {
      const value = await this.#interruptible(code, silent ? "Cell" : `Cell [${count}]`);
      if (value !== undefined && !isShownAlready(value) && !silent) {
        const data = await mimeBundle(value);
        this.#output.publish("execute_result", { execution_count: count, data, metadata: {} });
        if (store !== false) this.#history.setOutput(String(data["text/plain"] ?? ""));
      }
    } catch (thrown) {
      error = cellError(thrown, this.#engine.stackLines);
      this.#output.publish("error", { ...error });
    }
    this.#stdin.askThrough(undefined);
    this.#output.flush();
    if (error !== undefined) return { status: "error", execution_count: count, ...error };
    return {
      status: "ok",
      execution_count: count,
      user_expressions: await this.#evaluate(isRecord(expressions) ? expressions : {}),
      payload: this.#payload,
    };
  }

  /** The engine's run, or the interrupt if that comes first: nothing can stop a promise, but nobody need wait for it. */
  async #interruptible(code: string, label: string): Promise<unknown> {
    try {
      return await new Promise((resolve, reject) => {
        this.#giveUp = (error) => {
          this.#engine.settle();
          reject(error);
        };
        // Begun from the queue, as a forced end clears away everything that waits behind the running code.
        queueMicrotask(() => this.#engine.run(code, label).then(resolve, reject));
      });
    } finally {
      this.#giveUp = undefined;
    }
  }

  async #evaluate(expressions: Fields): Promise<Fields> {
    const values: Record<string, unknown> = {};
    for (const [name, code] of Object.entries(expressions))
      try {
        const value = await this.#interruptible(String(code), `Expression ${name}`);
        values[name] = { status: "ok", data: await mimeBundle(value), metadata: {} };
      } catch (thrown) {
        values[name] = { status: "error", ...cellError(thrown, this.#engine.stackLines) };
      }
    return values;
  }
}

const refused = (evalue: string, count: number): Fields => ({
  status: "error",
  execution_count: count,
  ename: "BadRequest",
  evalue,
  traceback: [`BadRequest: ${evalue}`],
});
