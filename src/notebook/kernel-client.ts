import { randomUUID } from "node:crypto";
import { Dealer, Subscriber } from "zeromq";
import { CannotError } from "../terms/errors.js";
import { type CellOutputs, OutputCollector } from "./collect-outputs.js";
import { type Message, packMessage, unpackMessage } from "./jupyter-wire.js";
import { type KernelCommand, type KernelProcess, startKernelProcess } from "./kernel-process.js";
import type { JsonObject, Output } from "./notebook-shape.js";

/** What a kernel did with a piece of code. */
export interface Execution {
  readonly status: "ok" | "error" | "aborted";
  readonly executionCount: number | null;
  /** Name and message of the error, where there was one. */
  readonly ename: string;
  readonly evalue: string;
  /** In order. A later cell may still change what was shown under a display id. */
  readonly outputs: readonly Output[];
}

export interface KernelOptions {
  readonly kernel: KernelCommand;
  /** The folder in which the kernel runs. */
  readonly folder: string;
  /** The date that messages carry. */
  readonly now: () => Date;
  /** How long a kernel may take to answer at first, ms; default 60,000. */
  readonly startWithinMs?: number;
}

interface Waiting {
  readonly cell: CellOutputs | null;
  reply: Message | null;
  idle: boolean;
  /** How many messages were published for it. */
  published: number;
  readonly done: (reply: Message) => void;
}

const askAgainMs = 100;
const iopubGraceMs = 10_000;

/**
 * Starts a kernel and waits until it answers.
 * @throws CannotError when it cannot be started, ends at once or does not answer in time
 */
export async function startKernel(options: KernelOptions): Promise<KernelClient> {
  let failure: unknown;
  // Another program may take one of the free ports just before the kernel does: a second try has new ones.
  for (let attempt = 0; attempt < 2; attempt++) {
    const process = await startKernelProcess(options.kernel, options.folder);
    const client = new KernelClient(process, options);
    try {
      await client.ready(options.startWithinMs ?? 60_000);
      return client;
    } catch (error) {
      failure = error;
      await client.shutdown();
    }
  }
  throw failure;
}

/** A running kernel. Call {@link KernelClient.shutdown} in every case when done. */
export class KernelClient {
  /** The content of the kernel's `kernel_info_reply`. */
  info: JsonObject = {};
  readonly #process: KernelProcess;
  readonly #options: KernelOptions;
  readonly #session = randomUUID();
  readonly #shell = new Dealer({ linger: 0, sendHighWaterMark: 0, receiveHighWaterMark: 0 });
  readonly #control = new Dealer({ linger: 0, sendHighWaterMark: 0, receiveHighWaterMark: 0 });
  readonly #iopub = new Subscriber({ linger: 0, receiveHighWaterMark: 0 });
  readonly #waiting = new Map<string, Waiting>();
  readonly #collector = new OutputCollector();
  readonly #failed: Promise<never>;
  #iopubHeard = false;
  #fail: (error: Error) => void = () => {};

  constructor(process: KernelProcess, options: KernelOptions) {
    this.#process = process;
    this.#options = options;
    const { ip, shell_port, control_port, iopub_port } = process.connection;
    this.#shell.connect(`tcp://${ip}:${shell_port}`);
    this.#control.connect(`tcp://${ip}:${control_port}`);
    this.#iopub.connect(`tcp://${ip}:${iopub_port}`);
    this.#iopub.subscribe("");
    this.#failed = new Promise((_, fail) => {
      this.#fail = fail;
    });
    this.#failed.catch(() => {}); // it is looked at where something waits for the kernel
    process.ended.then((how) => this.#fail(new CannotError(how.replace(/^./, (first) => first.toUpperCase()))));
    for (const [socket, take] of [
      [this.#shell, (message: Message) => this.#replied(message)],
      [this.#control, (message: Message) => this.#replied(message)],
      [this.#iopub, (message: Message) => this.#published(message)],
    ] as const)
      this.#listen(socket, take);
  }

  /** Waits until the kernel has answered and its published messages arrive. */
  async ready(withinMs: number): Promise<void> {
    let late = false;
    const timer = setTimeout(() => {
      late = true;
    }, withinMs);
    try {
      for (let replied = false; !replied || !this.#iopubHeard; ) {
        if (late)
          throw new CannotError(`The kernel ${this.#options.kernel.name} did not answer in ${withinMs / 1000} s`);
        const asked = this.#request(this.#shell, "kernel_info_request", {}, null);
        const reply = await Promise.race([asked.reply, this.#failed, pause(replied ? askAgainMs : withinMs)]);
        if (reply !== undefined) {
          replied = true;
          this.info = reply.content;
          if (!this.#iopubHeard) await pause(askAgainMs / 4);
        }
        this.#waiting.delete(asked.id);
      }
    } finally {
      clearTimeout(timer);
    }
  }

  /**
   * Runs code and collects what it shows, until the kernel has answered and is idle again.
   * @param options - `stopOnError`: requests that wait behind a failing one are refused by the kernel
   * @throws CannotError when the kernel ends meanwhile
   */
  async execute(code: string, { stopOnError = true } = {}): Promise<Execution> {
    const cell = this.#collector.cell();
    const content = { code, silent: false, store_history: true, user_expressions: {}, allow_stdin: false };
    const asked = this.#request(this.#shell, "execute_request", { ...content, stop_on_error: stopOnError }, cell);
    const reply = await Promise.race([asked.reply, this.#failed]);
    const { status, execution_count: count, ename, evalue } = reply.content;
    const shown = cell.outputs.find((output) => output.output_type === "error");
    return {
      status: status === "ok" || status === "error" ? status : "aborted",
      executionCount: typeof count === "number" ? count : null,
      ename: shown?.ename ?? (typeof ename === "string" ? ename : ""),
      evalue: shown?.evalue ?? (typeof evalue === "string" ? evalue : ""),
      outputs: cell.outputs,
    };
  }

  /** Stops the code that runs; its execution ends with an error. */
  async interrupt(): Promise<void> {
    if (this.#options.kernel.interruptMode === "signal") {
      this.#process.interrupt();
      return;
    }
    const asked = this.#request(this.#control, "interrupt_request", {}, null);
    await Promise.race([asked.reply, this.#failed, pause(2000)]);
  }

  /** Ends the kernel: asks, waits, then forces it. Never fails; may be called twice. */
  async shutdown(): Promise<void> {
    if (this.#process.running()) {
      // Not waited for: a kernel that no longer listens must not hold this up.
      this.#request(this.#control, "shutdown_request", { restart: false }, null);
      await this.#process.end(3000);
    }
    for (const socket of [this.#shell, this.#control, this.#iopub]) socket.close();
  }

  #request(socket: Dealer, type: string, content: JsonObject, cell: CellOutputs | null) {
    const date = this.#options.now().toISOString();
    const { key } = this.#process.connection;
    const { id, frames } = packMessage(type, content, { key, session: this.#session, date });
    const reply = new Promise<Message>((done) => {
      this.#waiting.set(id, { cell, reply: null, idle: false, published: 0, done });
    });
    socket.send(frames).catch((error: Error) => this.#fail(error));
    return { id, reply };
  }

  async #listen(socket: Dealer | Subscriber, take: (message: Message) => void): Promise<void> {
    try {
      for await (const frames of socket) take(unpackMessage(frames as Uint8Array[], this.#process.connection.key));
    } catch (error) {
      this.#fail(error as Error);
    }
  }

  #replied(message: Message): void {
    const waiting = this.#waiting.get(message.parent_header.msg_id ?? "");
    if (waiting === undefined) return;
    waiting.reply = message;
    this.#finish(message.parent_header.msg_id!, waiting);
    if (waiting.cell !== null && !waiting.idle) this.#giveUpIdle(message.parent_header.msg_id!, waiting);
  }

  /** A kernel that forgets to say idle must not hold a notebook for ever; one that still publishes may go on. */
  #giveUpIdle(id: string, waiting: Waiting): void {
    const { published } = waiting;
    setTimeout(() => {
      if (waiting.published > published) this.#giveUpIdle(id, waiting);
      else {
        waiting.idle = true;
        this.#finish(id, waiting);
      }
    }, iopubGraceMs).unref();
  }

  #published(message: Message): void {
    this.#iopubHeard = true;
    const id = message.parent_header.msg_id ?? "";
    const waiting = this.#waiting.get(id);
    if (waiting === undefined) return;
    waiting.published++;
    waiting.cell?.take(message);
    if (message.header.msg_type !== "status" || message.content.execution_state !== "idle") return;
    waiting.idle = true;
    this.#finish(id, waiting);
  }

  /** An execution is over when reply and idle are both there, in whichever order they came. */
  #finish(id: string, waiting: Waiting): void {
    if (waiting.reply === null || (waiting.cell !== null && !waiting.idle)) return;
    this.#waiting.delete(id);
    waiting.done(waiting.reply);
  }
}

const pause = (ms: number) => new Promise<undefined>((done) => void setTimeout(() => done(undefined), ms).unref());
