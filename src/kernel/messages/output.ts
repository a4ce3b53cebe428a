import { StringDecoder } from "node:string_decoder";
import type { MessagePort } from "node:worker_threads";
import type { ToSockets } from "../wire/link.js";
import type { Fields, Header, MimeBundle } from "./message.js";

export type StreamName = "stdout" | "stderr";

/** Text is held back at most this long, also while a cell never lets go of the thread. */
const holdMs = 25;
/** More text than this is sent at once. */
const holdChars = 65_536;

/** Everything that goes to all clients. What is written in small pieces is sent in large ones, in order. */
export class Output {
  readonly #port: MessagePort;
  readonly #decoders = { stdout: new StringDecoder("utf8"), stderr: new StringDecoder("utf8") };
  #held: string[] = [];
  #heldChars = 0;
  #heldSinceMs = 0;
  #heldName: StreamName = "stdout";
  #timer: NodeJS.Timeout | undefined;
  #parent: Header | Fields = {};
  #silent = false;

  constructor(port: MessagePort) {
    this.#port = port;
  }

  /** What comes from now on belongs to this request; from a silent one nothing is shown. */
  belongTo(parent: Header | Fields, silent = false): void {
    this.flush();
    this.#parent = parent;
    this.#silent = silent;
  }

  get parent(): Header | Fields {
    return this.#parent;
  }

  write(name: StreamName, chunk: string | Uint8Array): void {
    if (this.#silent) return;
    if (name !== this.#heldName) this.flush();
    this.#heldName = name;
    const text = typeof chunk === "string" ? chunk : this.#decoders[name].write(Buffer.from(chunk));
    if (text === "") return;
    const now = performance.now();
    if (this.#held.length === 0) this.#heldSinceMs = now;
    this.#held.push(text);
    this.#heldChars += text.length;
    if (this.#heldChars >= holdChars || now - this.#heldSinceMs >= holdMs) this.flush();
    else this.#timer ??= setTimeout(() => this.flush(), holdMs);
  }

  /** Sends the text that is held back. */
  flush(): void {
    clearTimeout(this.#timer);
    this.#timer = undefined;
    if (this.#held.length === 0) return;
    const text = this.#held.join("");
    this.#held = [];
    this.#heldChars = 0;
    this.#publish("stream", { name: this.#heldName, text });
  }

  status(state: "busy" | "idle", parent: Header | Fields): void {
    this.flush();
    this.#publish("status", { execution_state: state }, {}, [], parent);
  }

  /** A message of any type, unless the request is silent. */
  publish(type: string, content: Fields, metadata: Fields = {}, buffers: readonly Uint8Array[] = []): void {
    if (this.#silent && !type.startsWith("comm_")) return;
    this.flush();
    this.#publish(type, content, metadata, buffers);
  }

  /** @param id - by which it can be renewed later */
  display(
    data: MimeBundle,
    how: { readonly metadata?: Fields; readonly id?: string; readonly renew?: boolean } = {},
  ): void {
    this.publish(how.renew ? "update_display_data" : "display_data", {
      data,
      metadata: how.metadata ?? {},
      transient: how.id === undefined ? {} : { display_id: how.id },
    });
  }

  #publish(
    type: string,
    content: Fields,
    metadata: Fields = {},
    buffers: readonly Uint8Array[] = [],
    parent = this.#parent,
  ): void {
    this.#port.postMessage({ kind: "publish", type, content, parent, metadata, buffers } satisfies ToSockets);
  }
}

/** From now on what is written to stdout and stderr goes to the clients. */
export function captureStreams(output: Output): void {
  for (const name of ["stdout", "stderr"] as const) {
    const write = (chunk: string | Uint8Array, encoding?: unknown, done?: unknown): boolean => {
      const bytes = typeof chunk === "string" && typeof encoding === "string" && !/^utf-?8$/i.test(encoding);
      output.write(name, bytes ? Buffer.from(chunk, encoding as BufferEncoding) : chunk);
      const callback = typeof encoding === "function" ? encoding : done;
      if (typeof callback === "function") queueMicrotask(() => callback());
      return true;
    };
    process[name].write = write as typeof process.stdout.write;
  }
}
