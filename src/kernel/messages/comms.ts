import { randomUUID } from "node:crypto";
import type { Comm } from "../show/notebook-globals.js";
import { type Fields, isRecord } from "./message.js";
import type { Output } from "./output.js";

/** The comms that are open, and who may open one from the client's side. */
export class Comms {
  readonly #output: Output;
  readonly #open = new Map<string, Comm>();
  readonly #targets = new Map<string, (comm: Comm, data: Fields) => unknown>();

  constructor(output: Output) {
    this.#output = output;
  }

  /** What happens when a client opens a comm to that target. */
  register(target: string, opened: (comm: Comm, data: Fields) => unknown): void {
    this.#targets.set(target, opened);
  }

  /** Opens a comm to a target in the client. */
  open(target: string, data: Fields = {}): Comm {
    const comm = this.#make(randomUUID(), target);
    this.#output.publish("comm_open", { comm_id: comm.id, target_name: target, data });
    return comm;
  }

  /** The `comms` of a comm_info_reply. */
  info(target: unknown): Fields {
    const chosen = [...this.#open.values()].filter(
      (comm) => typeof target !== "string" || target === "" || comm.target === target,
    );
    return Object.fromEntries(chosen.map((comm) => [comm.id, { target_name: comm.target }]));
  }

  /** A comm_open, comm_msg or comm_close from a client. */
  async take(type: string, content: Fields, buffers: readonly Uint8Array[]): Promise<void> {
    const id = String(content.comm_id);
    const data = isRecord(content.data) ? content.data : {};
    if (type === "comm_open") {
      const target = String(content.target_name);
      const opened = this.#targets.get(target);
      if (opened === undefined) this.#output.publish("comm_close", { comm_id: id, data: {} });
      else await opened(this.#make(id, target), data);
    } else if (type === "comm_msg") await this.#open.get(id)?.onMessage?.(data, buffers);
    else {
      const comm = this.#open.get(id);
      this.#open.delete(id);
      await comm?.onClose?.(data);
    }
  }

  #make(id: string, target: string): Comm {
    const comm: Comm = {
      id,
      target,
      send: (data, buffers = []) => this.#output.publish("comm_msg", { comm_id: id, data }, {}, buffers),
      close: (data = {}) => {
        if (this.#open.delete(id)) this.#output.publish("comm_close", { comm_id: id, data });
      },
    };
    this.#open.set(id, comm);
    return comm;
  }
}
