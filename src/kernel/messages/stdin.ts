import type { MessagePort } from "node:worker_threads";
import { CallError } from "../../terms/errors.js";
import type { Request, ToSockets } from "../wire/link.js";

/** Asks the client that runs the current cell for a line of text. */
export class Stdin {
  readonly #port: MessagePort;
  #asking: Request | undefined;
  #answer: ((text: string) => void) | undefined;

  constructor(port: MessagePort) {
    this.#port = port;
  }

  /** Who may be asked from now on; undefined: nobody. A question that is open is given up. */
  askThrough(request: Request | undefined): void {
    this.#asking = request?.content.allow_stdin === true ? request : undefined;
    this.#answer = undefined;
  }

  /** @throws CallError where the client does not answer questions, as when a notebook runs unattended */
  ask(prompt: string, password: boolean): Promise<string> {
    const request = this.#asking;
    if (request === undefined)
      throw new CallError("input() cannot ask here: nobody sits before this notebook. Set the value in a cell instead");
    this.#port.postMessage({
      kind: "reply",
      channel: "stdin",
      identities: request.identities,
      type: "input_request",
      content: { prompt, password },
      parent: request.header,
    } satisfies ToSockets);
    return new Promise((resolve) => {
      this.#answer = resolve;
    });
  }

  /** An input_reply. */
  take({ content }: Request): void {
    const answer = this.#answer;
    this.#answer = undefined;
    answer?.(typeof content.value === "string" ? content.value : "");
  }
}
