import { type ChildProcess, spawn } from "node:child_process";
import { randomBytes } from "node:crypto";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { createServer } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { CannotError } from "../terms/errors.js";
import type { Connection } from "./jupyter-wire.js";

/** How a kernel is started, as a kernel spec says it. */
export interface KernelCommand {
  /** Name for messages. */
  readonly name: string;
  /** Program and arguments; `{connection_file}` stands for the path of the connection file. */
  readonly argv: readonly string[];
  readonly interruptMode: "message" | "signal";
}

/** The kernel of this project, run by the Node that runs this. */
export function ownKernel(): KernelCommand {
  const main = fileURLToPath(new URL("../../dist/cli/main.js", import.meta.url));
  const argv = [process.execPath, main, "kernel", "start", "--connection-file", "{connection_file}"];
  return { name: "nightyield", argv, interruptMode: "message" };
}

/** A kernel's process with its connection file. */
export interface KernelProcess {
  readonly connection: Connection;
  /** Settles when the process has ended, however it ended. */
  readonly ended: Promise<string>;
  /** True until then. */
  running(): boolean;
  /** Asks with a signal, as Ctrl-C does. */
  interrupt(): void;
  /** Waits for the process to end by itself, then asks, then forces it; takes the connection file away. */
  end(patienceMs: number): Promise<void>;
}

/**
 * Starts a kernel on five free ports of this machine only. Its process never outlives this one: it is ended when this
 * process exits for whatever reason it still notices (the kernel itself watches for the others).
 * @param folder - the folder in which the kernel runs
 * @throws CannotError when the program cannot be started
 */
export async function startKernelProcess(kernel: KernelCommand, folder: string): Promise<KernelProcess> {
  const [shell_port, iopub_port, stdin_port, control_port, hb_port] = await freePorts(5);
  const connection: Connection = {
    transport: "tcp",
    ip: "127.0.0.1",
    shell_port: shell_port!,
    iopub_port: iopub_port!,
    stdin_port: stdin_port!,
    control_port: control_port!,
    hb_port: hb_port!,
    key: randomBytes(24).toString("hex"),
    signature_scheme: "hmac-sha256",
  };
  const own = mkdtempSync(join(tmpdir(), "nightyield-kernel-"));
  const file = join(own, "connection.json");
  // The key lets whoever reads it run code in the kernel: for this user's eyes only.
  writeFileSync(file, JSON.stringify({ ...connection, kernel_name: kernel.name }), { mode: 0o600 });
  const [program, ...args] = kernel.argv.map((part) => part.replaceAll("{connection_file}", file));
  const child = spawn(program!, args, { cwd: folder, stdio: ["ignore", "ignore", "pipe"], windowsHide: true });
  const clean = () => rmSync(own, { recursive: true, force: true });
  const atExit = () => {
    child.kill("SIGKILL");
    clean();
  };
  process.once("exit", atExit);
  let running = true;
  const ended = endOf(child, kernel.name).then((how) => {
    running = false;
    process.removeListener("exit", atExit);
    clean();
    return how;
  });
  return {
    connection,
    ended,
    running: () => running,
    interrupt: () => void child.kill("SIGINT"),
    async end(patienceMs) {
      for (const signal of [null, "SIGTERM", "SIGKILL"] as const) {
        if (!running) return;
        if (signal !== null) child.kill(signal);
        await Promise.race([ended, pause(signal === null ? patienceMs : 1000)]);
      }
      await ended;
    },
  };
}

/** How a process ended, with the last lines it wrote to its error stream. */
function endOf(child: ChildProcess, name: string): Promise<string> {
  let said = "";
  child.stderr?.setEncoding("utf8").on("data", (piece: string) => {
    said = (said + piece).slice(-2000);
  });
  const lastWords = () => {
    const lines = said.trim().split("\n").slice(-8).join("\n");
    return lines === "" ? "" : `. Its last words: ${lines}`;
  };
  return new Promise((done) => {
    child.once("error", (error) => done(`the kernel ${name} could not be started: ${error.message}`));
    child.once("close", (code, signal) =>
      done(`the kernel ${name} ended (${signal === null ? `exit code ${code}` : signal})${lastWords()}`),
    );
  });
}

/** Ports that were free a moment ago; all are held at once, so that they differ. */
async function freePorts(count: number): Promise<number[]> {
  const servers = Array.from({ length: count }, () => createServer());
  try {
    return await Promise.all(
      servers.map(
        (server) =>
          new Promise<number>((done, fail) => {
            server.once("error", fail);
            server.listen(0, "127.0.0.1", () => {
              const address = server.address();
              done(typeof address === "object" && address !== null ? address.port : 0);
            });
          }),
      ),
    );
  } catch (cause) {
    throw new CannotError(`Cannot listen on this machine: ${(cause as Error).message}`, { cause });
  } finally {
    await Promise.all(servers.map((server) => new Promise((done) => server.close(done))));
  }
}

/** A promise of time gone by that does not keep the process alive by itself. */
const pause = (ms: number) => new Promise<string>((done) => void setTimeout(() => done(""), ms).unref());
