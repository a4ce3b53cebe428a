// A client of the Jupyter protocol for the tests, written from the protocol's documentation and not from the kernel.
import { type ChildProcess, spawn } from "node:child_process";
import { createHmac, randomUUID } from "node:crypto";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { createServer } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { Dealer, Request, Subscriber } from "zeromq";

export const root = fileURLToPath(new URL("../../", import.meta.url));
export const kernelProgram = join(root, "dist/kernel/main.js");
const delimiter = "<IDS|MSG>";

export interface Received {
  readonly channel: "shell" | "control" | "stdin" | "iopub";
  readonly type: string;
  readonly header: Record<string, string>;
  readonly parent: Record<string, string>;
  readonly content: Readonly<Record<string, unknown>>;
}

type Sent = "shell" | "control" | "stdin";
export interface Options {
  readonly cwd?: string;
  readonly transport?: "tcp" | "ipc";
  readonly argv?: (connectionFile: string) => readonly string[];
  readonly env?: Readonly<Record<string, string>>;
}

export class Session {
  readonly key = randomUUID();
  readonly received: Received[] = [];
  readonly process: ChildProcess;
  readonly sockets: { shell: Dealer; control: Dealer; stdin: Dealer; iopub: Subscriber };
  readonly folder: string;
  readonly heartbeat: string;
  readonly exited: Promise<number | null>;
  stderr = "";
  #wake: (() => void)[] = [];
  #last: Promise<void> = Promise.resolve();

  static async start(options: Options = {}): Promise<Session> {
    const names = ["shell", "control", "stdin", "iopub", "hb"] as const;
    const ports = Object.fromEntries(await Promise.all(names.map(async (name) => [name, await freePort()] as const)));
    return new Session(ports, options);
  }

  private constructor(ports: Record<string, number>, options: Options) {
    this.folder = mkdtempSync(join(tmpdir(), "nightyield-kernel-"));
    const transport = options.transport ?? "tcp";
    const ip = transport === "tcp" ? "127.0.0.1" : join(this.folder, "socket");
    const address = (name: string) =>
      transport === "tcp" ? `tcp://${ip}:${ports[name]}` : `ipc://${ip}-${ports[name]}`;
    const file = join(this.folder, "connection.json");
    const connection: Record<string, unknown> = { transport, ip, key: this.key, signature_scheme: "hmac-sha256" };
    for (const [name, port] of Object.entries(ports)) connection[`${name}_port`] = port;
    writeFileSync(file, JSON.stringify(connection));
    const argv = options.argv?.(file) ?? [process.execPath, kernelProgram, "--connection-file", file];
    this.process = spawn(argv[0]!, argv.slice(1), {
      cwd: options.cwd ?? root,
      stdio: ["ignore", "ignore", "pipe"],
      env: { ...process.env, ...options.env },
    });
    this.process.stderr!.on("data", (chunk) => {
      this.stderr += chunk;
    });
    this.exited = new Promise((resolve) => this.process.on("exit", resolve));
    const identity = randomUUID();
    const dealer = () => new Dealer({ routingId: identity, linger: 0 });
    this.sockets = {
      shell: dealer(),
      control: dealer(),
      stdin: dealer(),
      iopub: new Subscriber({ receiveHighWaterMark: 0, linger: 0 }),
    };
    this.sockets.iopub.subscribe();
    this.heartbeat = address("hb");
    for (const [channel, socket] of Object.entries(this.sockets)) {
      socket.connect(address(channel));
      void this.#listen(channel as Received["channel"], socket);
    }
  }

  async #listen(channel: Received["channel"], socket: Dealer | Subscriber): Promise<void> {
    for await (const frames of socket) {
      const at = frames.findIndex((frame) => frame.toString() === delimiter);
      const parts = frames.slice(at + 2, at + 6);
      if (this.sign(parts) !== frames[at + 1]!.toString()) throw new Error("the kernel's signature is wrong");
      const [header, parent, , content] = parts.map((part) => JSON.parse(part.toString()));
      this.received.push({ channel, type: header.msg_type, header, parent, content });
      for (const wake of this.#wake.splice(0)) wake();
    }
  }

  sign(parts: readonly (string | Buffer)[]): string {
    const hmac = createHmac("sha256", this.key);
    for (const part of parts) hmac.update(part);
    return hmac.digest("hex");
  }

  /** Sends frames as they are. */
  raw(channel: Sent, frames: (string | Buffer)[]): Promise<void> {
    this.#last = this.#last.then(() => this.sockets[channel].send(frames));
    return this.#last;
  }

  /** The four parts of a message. */
  parts(type: string, content: object, id: string = randomUUID()): string[] {
    const header = {
      msg_id: id,
      msg_type: type,
      session: "tests",
      username: "tests",
      date: new Date().toISOString(),
      version: "5.3",
    };
    return [header, {}, {}, content].map((part) => JSON.stringify(part));
  }

  /** Sends a message; gives its id. */
  send(type: string, content: object = {}, channel: Sent = "shell"): string {
    const id = randomUUID();
    const parts = this.parts(type, content, id);
    void this.raw(channel, [delimiter, this.sign(parts), ...parts]);
    return id;
  }

  /** Waits for something to be true of what was received. */
  async until<T>(found: () => T | undefined, what: string, timeoutMs = 20_000): Promise<T> {
    const end = Date.now() + timeoutMs;
    for (;;) {
      const value = found();
      if (value !== undefined) return value;
      if (Date.now() > end) throw new Error(`no ${what} within ${timeoutMs} ms; stderr: ${this.stderr}`);
      await new Promise<void>((resolve) => {
        const timer = setTimeout(resolve, 200);
        this.#wake.push(() => {
          clearTimeout(timer);
          resolve();
        });
      });
    }
  }

  of(id: string, channel?: Received["channel"]): Received[] {
    return this.received.filter((m) => m.parent.msg_id === id && (channel === undefined || m.channel === channel));
  }

  /** Everything that came for a request, when its reply and idle have come. */
  async answered(id: string, timeoutMs = 20_000): Promise<Answer> {
    await this.until(
      () => {
        const all = this.of(id);
        const idle = all.some((m) => m.type === "status" && m.content.execution_state === "idle");
        return (idle && all.some((m) => m.channel === "shell" || m.channel === "control")) || undefined;
      },
      "answer",
      timeoutMs,
    );
    const iopub = this.of(id, "iopub");
    const reply = this.of(id).find((m) => m.channel !== "iopub" && m.channel !== "stdin")!;
    return { id, reply, iopub, content: reply.content as Record<string, unknown> };
  }

  ask(type: string, content: object = {}, channel: Sent = "shell"): Promise<Answer> {
    return this.answered(this.send(type, content, channel));
  }

  /** Starts a cell. */
  begin(code: string, how: object = {}): string {
    const content = {
      code,
      silent: false,
      store_history: true,
      user_expressions: {},
      allow_stdin: false,
      stop_on_error: true,
    };
    return this.send("execute_request", { ...content, ...how });
  }

  /** Runs a cell to its end. */
  run(code: string, how: object = {}, timeoutMs = 30_000): Promise<Answer> {
    return this.answered(this.begin(code, how), timeoutMs);
  }

  /** What a cell shows: its result's text, what it printed, or its error's name and message. */
  async text(code: string): Promise<string> {
    const { iopub, content } = await this.run(code);
    if (content.status === "error") return `${content.ename}: ${content.evalue}`;
    const result = iopub.find((m) => m.type === "execute_result");
    const printed = streamText(iopub);
    return (
      printed + (result === undefined ? "" : (result.content.data as unknown as Record<string, string>)["text/plain"])
    );
  }

  async ready(): Promise<this> {
    // A subscription takes a moment; ask until the answer's status is seen.
    for (let i = 0; i < 50; i++) {
      const id = this.send("kernel_info_request");
      try {
        await this.until(() => this.of(id, "iopub")[0], "status", 500);
        return this;
      } catch {}
    }
    throw new Error(`the kernel does not start: ${this.stderr}`);
  }

  async beats(): Promise<boolean> {
    const socket = new Request({ linger: 0, receiveTimeout: 2000 });
    socket.connect(this.heartbeat);
    try {
      await socket.send("still there?");
      return (await socket.receive()).toString() === "still there?";
    } catch {
      return false;
    } finally {
      socket.close();
    }
  }

  async stop(): Promise<number | null> {
    if (this.process.exitCode === null && this.process.signalCode === null)
      this.send("shutdown_request", { restart: false }, "control");
    const killer = setTimeout(() => this.process.kill("SIGKILL"), 5000);
    const code = await this.exited;
    clearTimeout(killer);
    for (const socket of Object.values(this.sockets)) socket.close();
    rmSync(this.folder, { recursive: true, force: true });
    return code;
  }
}

export interface Answer {
  readonly id: string;
  readonly reply: Received;
  readonly iopub: readonly Received[];
  readonly content: Readonly<Record<string, unknown>>;
}

export const streamText = (messages: readonly Received[], name = "stdout") =>
  messages
    .filter((m) => m.type === "stream" && m.content.name === name)
    .map((m) => m.content.text)
    .join("");

function freePort(): Promise<number> {
  return new Promise((resolve) => {
    const server = createServer().listen(0, "127.0.0.1", () => {
      const address = server.address();
      server.close(() => resolve(typeof address === "object" && address !== null ? address.port : 0));
    });
  });
}
