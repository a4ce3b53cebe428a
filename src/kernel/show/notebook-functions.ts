import { randomUUID } from "node:crypto";
import type { Comms } from "../messages/comms.js";
import type { Execution } from "../messages/execution.js";
import type { MimeBundle } from "../messages/message.js";
import type { Output } from "../messages/output.js";
import type { Stdin } from "../messages/stdin.js";
import { mimeBundle, withEncodedBytes } from "./mime-bundle.js";
import type { NotebookGlobals, Shown } from "./notebook-globals.js";
import { progressBar, withProgress } from "./progress-bar.js";
import { shown } from "./shown.js";

/** What every cell can use without importing it. */
export function notebookFunctions(output: Output, comms: Comms, stdin: Stdin, execution: Execution): NotebookGlobals {
  const ids = new Set<string>();
  const place = (id: string, data: MimeBundle | Promise<MimeBundle>, metadata = {}): void => {
    if (data instanceof Promise) {
      data.then((ready) => place(id, ready, metadata)).catch((error) => output.write("stderr", `${error}\n`));
      return;
    }
    output.display(data, { id, metadata, renew: ids.has(id) });
    ids.add(id);
  };
  const handle = (id: string): Shown => shown({ update: (value) => place(id, mimeBundle(value)) });
  const display: NotebookGlobals["display"] = (bundle, { id = randomUUID(), metadata = {} } = {}) => {
    place(id, withEncodedBytes(bundle), metadata);
    return handle(id);
  };
  function progress<T>(items: readonly T[] | number, label = "") {
    const id = randomUUID();
    const draw = (bundle: MimeBundle) => place(id, bundle);
    return typeof items === "number" ? shown(progressBar(items, label, draw)) : withProgress(items, label, draw);
  }
  return {
    show(value) {
      const id = randomUUID();
      place(id, mimeBundle(value));
      return handle(id);
    },
    display,
    progress: progress as NotebookGlobals["progress"],
    clearOutput: ({ wait = false } = {}) => output.publish("clear_output", { wait }),
    input: (prompt = "", { password = false } = {}) => stdin.ask(prompt, password),
    page(value) {
      const data = mimeBundle(value);
      if (!(data instanceof Promise)) execution.page(data);
    },
    comms: {
      register: (target, opened) => comms.register(target, opened),
      open: (target, data) => comms.open(target, data),
    },
  };
}
