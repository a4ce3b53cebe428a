import { type MessagePort, receiveMessageOnPort } from "node:worker_threads";
import type { Engine } from "../engine/engine.js";
import { completeness } from "../engine/is-complete.js";
import type { Request, ToMain, ToSockets } from "../wire/link.js";
import { codePointsFromUnits, unitsFromCodePoints } from "./code-points.js";
import { collectGarbage } from "./collect-garbage.js";
import type { Comms } from "./comms.js";
import type { Execution } from "./execution.js";
import type { History } from "./history.js";
import type { Fields } from "./message.js";
import type { Output } from "./output.js";
import type { Stdin } from "./stdin.js";

/** What the kernel is made of. */
export interface KernelParts {
  readonly port: MessagePort;
  readonly engine: Engine;
  readonly output: Output;
  readonly execution: Execution;
  readonly history: History;
  readonly comms: Comms;
  readonly stdin: Stdin;
  /** The content of kernel_info_reply. */
  readonly info: Fields;
  readonly exit: (code: number, because?: string) => void;
}

/** Answers requests in the order they come, each between busy and idle. */
export class Kernel {
  readonly #parts: KernelParts;
  #queue: Request[] = [];
  #running = false;

  constructor(parts: KernelParts) {
    this.#parts = parts;
    parts.port.on("message", (message: ToMain) => this.#take(message));
    parts.port.postMessage({ kind: "ready" } satisfies ToSockets);
  }

  #take(message: ToMain): void {
    const { port, execution, stdin, exit } = this.#parts;
    if (message.kind === "exit") exit(message.code, message.because);
    else if (message.kind === "interrupt") {
      port.postMessage({ kind: "interrupted" } satisfies ToSockets);
      execution.interrupt();
    } else if (message.request.channel === "stdin") stdin.take(message.request);
    else {
      this.#queue.push(message.request);
      if (!this.#running) void this.#work();
    }
  }

  /** What the socket thread has sent while this thread was busy. */
  #takeWaiting(): void {
    for (;;) {
      const waiting = receiveMessageOnPort(this.#parts.port);
      if (waiting === undefined) return;
      this.#take(waiting.message as ToMain);
    }
  }

  async #work(): Promise<void> {
    this.#running = true;
    for (;;) {
      const request = this.#queue.shift();
      if (request === undefined) break;
      const stopped = await this.#answer(request);
      this.#abort(stopped);
      if (request.header.msg_type === "execute_request") collectGarbage();
      // Lets timers and the port have their turn between two cells.
      await new Promise((resolve) => setImmediate(resolve));
      // An interrupt that came too late for the cell it was meant for must not hit the next one.
      this.#takeWaiting();
    }
    this.#running = false;
  }

  /** @returns the requests that are not to be run because this one failed */
  async #answer(request: Request): Promise<readonly Request[]> {
    const { output } = this.#parts;
    const type = request.header.msg_type;
    output.status("busy", request.header);
    try {
      if (type === "execute_request") return await this.#execute(request);
      if (/^comm_(?:open|msg|close)$/.test(type)) {
        output.belongTo(request.header);
        await this.#parts.comms.take(type, request.content, request.buffers);
      } else {
        const content = this.#lookUp(type, request.content);
        if (content !== undefined) this.#reply(request, content);
      }
    } catch (error) {
      // A fault here or in a comm's handler; the session goes on.
      const { name, message, stack } = error instanceof Error ? error : new Error(String(error));
      output.write("stderr", `${stack}\n`);
      if (type.endsWith("_request"))
        this.#reply(request, { status: "error", ename: name, evalue: message, traceback: [] });
    } finally {
      output.status("idle", request.header);
    }
    return [];
  }

  async #execute(request: Request): Promise<readonly Request[]> {
    const content = await this.#parts.execution.run(request);
    let stopped: readonly Request[] = [];
    if (content.status === "error" && request.content.stop_on_error !== false) {
      // Only cells that wait already: what the client sends after it has seen the error is meant.
      this.#takeWaiting();
      const isCell = ({ header }: Request) => header.msg_type === "execute_request";
      stopped = this.#queue.filter(isCell);
      this.#queue = this.#queue.filter((waiting) => !isCell(waiting));
    }
    this.#reply(request, content);
    return stopped;
  }

  #abort(requests: readonly Request[]): void {
    const { output, execution } = this.#parts;
    for (const request of requests) {
      output.status("busy", request.header);
      this.#reply(request, { status: "aborted", execution_count: execution.count });
      output.status("idle", request.header);
    }
  }

  /** The reply to a request that changes nothing; undefined for one that is not known. */
  #lookUp(type: string, content: Fields): Fields | undefined {
    const { engine, history, comms, info } = this.#parts;
    const code = typeof content.code === "string" ? content.code : "";
    const cursor = unitsFromCodePoints(code, typeof content.cursor_pos === "number" ? content.cursor_pos : code.length);
    switch (type) {
      case "kernel_info_request":
        return info;
      case "complete_request": {
        const { start, end, matches } = engine.complete(code, cursor);
        const cursorStart = codePointsFromUnits(code, start);
        const cursorEnd = codePointsFromUnits(code, end);
        return {
          status: "ok",
          matches: matches.map(({ text }) => text),
          cursor_start: cursorStart,
          cursor_end: cursorEnd,
          metadata: {
            // Clients show the kind of each match from here.
            _jupyter_types_experimental: matches.map((match) => ({ ...match, start: cursorStart, end: cursorEnd })),
          },
        };
      }
      case "inspect_request": {
        const text = engine.inspect(code, cursor);
        const found = text !== undefined;
        return { status: "ok", found, data: found ? { "text/plain": text } : {}, metadata: {} };
      }
      case "is_complete_request": {
        const status = completeness(code);
        return status === "incomplete" ? { status, indent: "  " } : { status };
      }
      case "history_request":
        return { status: "ok", history: history.answer(content) };
      case "comm_info_request":
        return { status: "ok", comms: comms.info(content.target_name) };
      default:
        return undefined;
    }
  }

  #reply(request: Request, content: Fields): void {
    const { channel, identities, header } = request;
    const type = header.msg_type.replace(/_request$/, "_reply");
    this.#parts.output.flush();
    this.#parts.port.postMessage({
      kind: "reply",
      channel,
      identities,
      type,
      content,
      parent: header,
    } satisfies ToSockets);
  }
}
