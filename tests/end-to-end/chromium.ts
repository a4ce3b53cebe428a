// Drives Chromium through its debugging pipe (descriptors 3 and 4), with real time, keys and media, and without packages.
import { type ChildProcess, spawn } from "node:child_process";
import { existsSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { Readable, Writable } from "node:stream";

export const chromiumPath = "/usr/bin/chromium";
export const hasChromium = existsSync(chromiumPath);
export const withoutChromium = hasChromium ? "" : ` (skipped: there is no ${chromiumPath})`;
if (!hasChromium && process.env.CI) throw new Error(`${chromiumPath} is missing: .ci/run must install it`);

type Message = {
  id?: number;
  method?: string;
  sessionId?: string;
  params?: Record<string, unknown>;
  result?: Record<string, unknown>;
  error?: { message: string };
};

/** How a page is looked at. */
export interface PageLook {
  readonly width?: number;
  readonly height?: number;
  readonly scheme?: "light" | "dark";
  readonly isTouch?: boolean;
}

/** One page in the browser. */
export interface Page {
  /** Value of an expression; promises are awaited. */
  evaluate<T>(expression: string): Promise<T>;
  press(key: "Tab" | "Enter"): Promise<void>;
  look(look: PageLook): Promise<void>;
  /** What the browser logged, and addresses that were asked for. */
  readonly log: string[];
  readonly asked: string[];
  send(method: string, params?: Record<string, unknown>): Promise<Record<string, unknown>>;
}

export class Browser {
  readonly #child: ChildProcess;
  readonly #profile: string;
  readonly #waiting = new Map<number, { done: (r: Record<string, unknown>) => void; failed: (e: Error) => void }>();
  readonly #listeners = new Map<string, (message: Message) => void>();
  #number = 0;

  constructor() {
    this.#profile = mkdtempSync(join(tmpdir(), "nightyield-browser-"));
    const flags =
      "--headless --no-sandbox --disable-gpu --no-first-run --disable-background-networking --disable-sync --hide-scrollbars --remote-debugging-pipe";
    this.#child = spawn(chromiumPath, [...flags.split(" "), `--user-data-dir=${this.#profile}`, "about:blank"], {
      stdio: ["ignore", "ignore", "ignore", "pipe", "pipe"],
    });
    const from = this.#child.stdio[4] as Readable;
    let parts: Buffer[] = [];
    from.on("data", (chunk: Buffer) => {
      let rest = chunk;
      for (let end = rest.indexOf(0); end >= 0; end = rest.indexOf(0)) {
        this.#take(JSON.parse(Buffer.concat([...parts, rest.subarray(0, end)]).toString("utf8")) as Message);
        parts = [];
        rest = rest.subarray(end + 1);
      }
      if (rest.length > 0) parts.push(rest);
    });
  }

  #take(message: Message): void {
    if (message.id === undefined) {
      this.#listeners.get(message.sessionId ?? "")?.(message);
      return;
    }
    const waiting = this.#waiting.get(message.id);
    this.#waiting.delete(message.id);
    if (message.error !== undefined) waiting?.failed(new Error(message.error.message));
    else waiting?.done(message.result ?? {});
  }

  send(method: string, params: Record<string, unknown> = {}, sessionId?: string): Promise<Record<string, unknown>> {
    const id = ++this.#number;
    const text = JSON.stringify({ id, method, params, ...(sessionId !== undefined && { sessionId }) });
    return new Promise((done, failed) => {
      this.#waiting.set(id, { done, failed });
      (this.#child.stdio[3] as Writable).write(`${text}\0`);
    });
  }

  /** Opens a page and waits until it is loaded. */
  async open(url: string, look: PageLook = {}): Promise<Page> {
    const { targetId } = await this.send("Target.createTarget", { url: "about:blank" });
    const { sessionId } = (await this.send("Target.attachToTarget", { targetId, flatten: true })) as {
      sessionId: string;
    };
    const send = (method: string, params: Record<string, unknown> = {}) => this.send(method, params, sessionId);
    const [log, asked]: [string[], string[]] = [[], []];
    let loaded = () => {};
    const load = new Promise<void>((done) => {
      loaded = done;
    });
    this.#listeners.set(sessionId, ({ method, params = {} }) => {
      if (method === "Page.loadEventFired") loaded();
      if (method === "Runtime.consoleAPICalled" || method === "Runtime.exceptionThrown" || method === "Log.entryAdded")
        log.push(JSON.stringify(params).slice(0, 600));
      if (method === "Network.requestWillBeSent") asked.push((params.request as { url: string }).url);
    });
    const page: Page = {
      log,
      asked,
      send,
      async evaluate<T>(expression: string): Promise<T> {
        const answer = await send("Runtime.evaluate", { expression, awaitPromise: true, returnByValue: true });
        if (answer.exceptionDetails !== undefined)
          throw new Error(JSON.stringify(answer.exceptionDetails).slice(0, 900));
        return (answer.result as { value: T }).value;
      },
      async press(key) {
        const code = key === "Tab" ? 9 : 13;
        const event = { key, code: key, windowsVirtualKeyCode: code, ...(key === "Enter" && { text: "\r" }) };
        await send("Input.dispatchKeyEvent", { type: "keyDown", ...event });
        await send("Input.dispatchKeyEvent", { type: "keyUp", ...event });
      },
      async look({ width = 1280, height = 900, scheme = "light", isTouch = false }) {
        await send("Emulation.setDeviceMetricsOverride", { width, height, deviceScaleFactor: 1, mobile: isTouch });
        await send("Emulation.setTouchEmulationEnabled", { enabled: isTouch });
        await send("Emulation.setEmulatedMedia", { features: [{ name: "prefers-color-scheme", value: scheme }] });
      },
    };
    for (const domain of ["Page", "Runtime", "Log", "Network"]) await send(`${domain}.enable`);
    await page.look(look);
    await send("Page.navigate", { url });
    await load;
    return page;
  }

  async close(): Promise<void> {
    const ended = new Promise((done) => this.#child.once("exit", done));
    await this.send("Browser.close").catch(() => {});
    await ended;
    rmSync(this.#profile, { recursive: true, force: true, maxRetries: 5 });
  }
}
