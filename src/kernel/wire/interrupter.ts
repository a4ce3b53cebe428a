import { Session } from "node:inspector";

/** How long the main thread may take to notice before the code that blocks it is ended by force. */
const graceMs = 200;

/**
 * Stops what the main thread runs, from the socket thread.
 * A cell's own synchronous code is stopped by SIGINT (its `vm` run listens for it); code that runs on after an `await`
 * only by the inspector's `Runtime.terminateExecution`, which is also the only way on Windows.
 */
export class Interrupter {
  readonly #tellMain: () => void;
  #session: Session | undefined;
  #noticed = true;

  constructor(tellMain: () => void) {
    this.#tellMain = tellMain;
  }

  interrupt(): void {
    this.#noticed = false;
    this.#tellMain();
    if (process.platform !== "win32") process.kill(process.pid, "SIGINT");
    setTimeout(() => {
      if (!this.#noticed) this.#terminate();
    }, graceMs);
  }

  /** The main thread has noticed. */
  noticed(): void {
    this.#noticed = true;
  }

  close(): void {
    this.#session?.disconnect();
  }

  #terminate(): void {
    if (this.#session === undefined) {
      this.#session = new Session();
      this.#session.connectToMainThread();
    }
    this.#session.post("Runtime.terminateExecution");
  }
}
