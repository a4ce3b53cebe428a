import { readFileSync, writeSync } from "node:fs";
import { createRequire } from "node:module";
import { MessageChannel, Worker } from "node:worker_threads";
import { CannotError } from "../terms/errors.js";
import { parseConnection } from "./wire/connection.js";
import { kernelInfo } from "./wire/kernel-info.js";
import type { SocketThreadData } from "./wire/socket-thread.js";

/**
 * Makes this process a kernel: it serves the notebook protocol where the connection file says, runs cells in the
 * current folder, and ends when it is told to, or when the process that started it has ended.
 * @throws CannotError when the connection file cannot be used
 */
export async function startKernel(connectionFile: string): Promise<void> {
  let text: string;
  try {
    text = readFileSync(connectionFile, "utf8");
  } catch (cause) {
    throw new CannotError(`Cannot read the connection file ${connectionFile}: ${(cause as Error).message}`, { cause });
  }
  const connection = parseConnection(text, connectionFile);
  const version = versionOf(new URL("../../package.json", import.meta.url));
  const languageVersion = versionOf(createRequire(import.meta.url).resolve("typescript/package.json"));
  // An interrupt's signal while no cell listens for it; the message that comes with it does the rest.
  process.on("SIGINT", () => {});
  const { port1: port, port2 } = new MessageChannel();
  const workerData: SocketThreadData = { port: port2, connection, version, languageVersion };
  const sockets = new Worker(new URL("./wire/socket-thread.js", import.meta.url), {
    workerData,
    transferList: [port2],
  });
  const exit = (code: number, because?: string): never => {
    if (because !== undefined) writeSync(2, `${because}\n`);
    process.exit(code);
  };
  sockets.on("error", (error) => exit(3, `The kernel's sockets failed: ${error.message}`));
  // The compiler is loaded while the sockets open.
  const { serve } = await import("./serve.js");
  serve({ port, info: kernelInfo(version, languageVersion), folder: process.cwd(), exit });
}

const versionOf = (packageFile: string | URL): string => JSON.parse(readFileSync(packageFile, "utf8")).version;
