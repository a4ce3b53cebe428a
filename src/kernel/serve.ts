import type { MessagePort } from "node:worker_threads";
import { Engine } from "./engine/engine.js";
import { Comms } from "./messages/comms.js";
import { Execution } from "./messages/execution.js";
import { History } from "./messages/history.js";
import { Kernel } from "./messages/kernel.js";
import type { Fields } from "./messages/message.js";
import { captureStreams, Output } from "./messages/output.js";
import { Stdin } from "./messages/stdin.js";
import { notebookFunctions } from "./show/notebook-functions.js";

/** What {@link serve} needs. */
export interface ServeOptions {
  /** To the socket thread. */
  readonly port: MessagePort;
  /** The content of kernel_info_reply. */
  readonly info: Fields;
  /** Relative imports start here. */
  readonly folder: string;
  readonly exit: (code: number, because?: string) => void;
}

/** Puts the kernel together and lets it answer. */
export function serve({ port, info, folder, exit }: ServeOptions): void {
  const engine = new Engine(folder);
  engine.warmUp();
  const output = new Output(port);
  const history = new History();
  const comms = new Comms(output);
  const stdin = new Stdin(port);
  const execution = new Execution(engine, output, history, stdin);
  captureStreams(output);
  Object.assign(globalThis, notebookFunctions(output, comms, stdin, execution));
  const report = (what: string) => (error: unknown) =>
    output.write("stderr", `${what}: ${error instanceof Error ? error.stack : String(error)}\n`);
  process.on("uncaughtException", report("Uncaught"));
  process.on("unhandledRejection", report("A promise was rejected and nobody looked"));
  quietLoaderWarning();
  new Kernel({ port, engine, output, execution, history, comms, stdin, info, exit });
}

/** Node calls the loader that cells import with experimental; the reader of a notebook need not hear of it. */
function quietLoaderWarning(): void {
  const emit = process.emitWarning;
  process.emitWarning = ((warning: string | Error, ...rest: unknown[]) => {
    if (String(warning).includes("USE_MAIN_CONTEXT_DEFAULT_LOADER")) return;
    Reflect.apply(emit, process, [warning, ...rest]);
  }) as typeof process.emitWarning;
}
