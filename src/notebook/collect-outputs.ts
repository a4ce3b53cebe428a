import type { Message } from "./jupyter-wire.js";
import { isObject, type JsonObject, type Output } from "./notebook-shape.js";

type Shown = { data: JsonObject; metadata: JsonObject };

/**
 * Turns what a kernel publishes into the outputs of cells, as a notebook program does: pieces of one stream become one
 * output, `update_display_data` changes what an earlier message showed (in any cell), `clear_output` starts afresh.
 */
export class OutputCollector {
  readonly #places = new Map<string, { list: Output[]; output: Output }[]>();

  /** A new cell's outputs, empty. */
  cell(): CellOutputs {
    return new CellOutputs(this);
  }

  /** Remembers where something shown under an id stands. */
  place(id: string, list: Output[], output: Output): void {
    const places = this.#places.get(id) ?? [];
    places.push({ list, output });
    this.#places.set(id, places);
  }

  /** Replaces what is shown under an id, wherever it still stands. */
  update(id: string, shown: Shown): void {
    for (const place of this.#places.get(id) ?? []) {
      const at = place.list.indexOf(place.output);
      if (at < 0) continue;
      place.output = { ...place.output, ...shown } as Output;
      place.list[at] = place.output;
    }
  }
}

/** The outputs of one cell while it runs. */
export class CellOutputs {
  /** In order; an update from a later cell may still change them. */
  readonly outputs: Output[] = [];
  readonly #all: OutputCollector;
  #clearNext = false;

  constructor(all: OutputCollector) {
    this.#all = all;
  }

  /** Takes one message of the iopub socket whose parent is this cell's request. */
  take({ header, content }: Message): void {
    switch (header.msg_type) {
      case "stream":
        this.#stream(textOf(content.name), textOf(content.text));
        break;
      case "display_data":
        this.#add({ output_type: "display_data", ...shownOf(content) }, content);
        break;
      case "execute_result":
        this.#add({ output_type: "execute_result", ...shownOf(content), execution_count: countOf(content) }, content);
        break;
      case "update_display_data": {
        const id = displayId(content);
        if (id !== null) this.#all.update(id, shownOf(content));
        break;
      }
      case "clear_output":
        if (content.wait === true) this.#clearNext = true;
        else this.#clear();
        break;
      case "error": {
        const { ename, evalue, traceback } = content;
        const lines = Array.isArray(traceback) ? traceback.map(textOf) : [];
        this.#add({ output_type: "error", ename: textOf(ename), evalue: textOf(evalue), traceback: lines });
        break;
      }
      default: // status, execute_input and comm messages leave nothing in a notebook
        break;
    }
  }

  #stream(name: string, text: string): void {
    this.#clearIfDue();
    const last = this.outputs.at(-1);
    if (last?.output_type === "stream" && last.name === name)
      this.outputs[this.outputs.length - 1] = { ...last, text: last.text + text };
    else this.outputs.push({ output_type: "stream", name, text });
  }

  #add(output: Output, content: JsonObject = {}): void {
    this.#clearIfDue();
    this.outputs.push(output);
    const id = displayId(content);
    if (id !== null) this.#all.place(id, this.outputs, output);
  }

  #clearIfDue(): void {
    if (this.#clearNext) this.#clear();
  }

  #clear(): void {
    this.#clearNext = false;
    this.outputs.length = 0;
  }
}

const textOf = (value: unknown): string => (typeof value === "string" ? value : "");
const objectOf = (value: unknown): JsonObject => (isObject(value) ? (value as JsonObject) : {});
const shownOf = ({ data, metadata }: JsonObject): Shown => ({ data: objectOf(data), metadata: objectOf(metadata) });
const countOf = ({ execution_count: count }: JsonObject) => (typeof count === "number" ? count : null);

function displayId({ transient }: JsonObject): string | null {
  const id = objectOf(transient).display_id;
  return typeof id === "string" ? id : null;
}
