// The thread that owns the sockets. It answers the heartbeat and the control channel while a cell keeps the main
// thread busy, so that a client can always see that the kernel lives, interrupt it and shut it down.
import { randomUUID } from "node:crypto";
import { writeSync } from "node:fs";
import { type MessagePort, workerData } from "node:worker_threads";
import { type Fields, type Header, type Message, protocolVersion } from "../messages/message.js";
import type { Connection } from "./connection.js";
import { pack, Refusal, unpack } from "./frames.js";
import { Interrupter } from "./interrupter.js";
import { kernelInfo } from "./kernel-info.js";
import type { Reply, RequestChannel, ToMain, ToSockets } from "./link.js";
import { watchParent } from "./parent-watch.js";
import { signerFor } from "./signer.js";
import { bindSockets, Sender, type Sockets } from "./sockets.js";

/** What the thread is started with. */
export interface SocketThreadData {
  readonly port: MessagePort;
  readonly connection: Connection;
  readonly version: string;
  readonly languageVersion: string;
}

/** How long sockets take to close; a thread that ends before aborts the process. */
const closeMs = 50;
/** How long the main thread may take to end itself. */
const endGraceMs = 1000;

const { port, connection, version, languageVersion } = workerData as SocketThreadData;
const session = randomUUID();
const signer = signerFor(connection.key, connection.signatureScheme);
const interrupter = new Interrupter(() => tellMain({ kind: "interrupt" }));
const senders = new Map<RequestChannel | "iopub", Sender>();
let sockets: Sockets | undefined;
let mainReady = false;
let forwarded = false;
let ending = false;

function tellMain(message: ToMain): void {
  port.postMessage(message);
}

function send(to: RequestChannel | "iopub", type: string, message: Omit<Message, "header">): void {
  const header: Header = {
    msg_id: randomUUID(),
    msg_type: type,
    session,
    username: "kernel",
    date: new Date().toISOString(),
    version: protocolVersion,
  };
  senders.get(to)?.send(pack({ ...message, header }, signer));
}

function publish(
  type: string,
  content: Fields,
  parent: Header | Fields,
  metadata: Fields = {},
  buffers: readonly Uint8Array[] = [],
) {
  send("iopub", type, { identities: [Buffer.from(`kernel.${session}.${type}`)], parent, metadata, content, buffers });
}

function reply({ channel, identities, type, content, parent }: Omit<Reply, "kind">): void {
  send(channel, type, { identities, parent, metadata: {}, content, buffers: [] });
}

/** Answers a request here, between busy and idle. */
function answer(request: Message, channel: RequestChannel, type: string, content: Fields): void {
  publish("status", { execution_state: "busy" }, request.header);
  reply({ channel, identities: request.identities, type, content, parent: request.header });
  if (type === "shutdown_reply") publish(type, content, request.header);
  publish("status", { execution_state: "idle" }, request.header);
}

function take(request: Message, channel: RequestChannel): void {
  const type = request.header.msg_type;
  if (type === "shutdown_request") {
    answer(request, channel, "shutdown_reply", { status: "ok", restart: request.content.restart === true });
    void end(0);
  } else if (type === "interrupt_request" && channel === "control") {
    answer(request, channel, "interrupt_reply", { status: "ok" });
    if (mainReady) interrupter.interrupt();
  } else if (type === "kernel_info_request" && (channel === "control" || !(mainReady || forwarded))) {
    // While the compiler still loads, this is the one question that can be answered.
    answer(request, channel, "kernel_info_reply", kernelInfo(version, languageVersion));
  } else {
    forwarded ||= channel === "shell";
    tellMain({ kind: "request", request: { ...request, channel } });
  }
}

async function listen(socket: AsyncIterable<Buffer[]>, channel: RequestChannel): Promise<void> {
  for await (const frames of socket) {
    try {
      take(unpack(frames, signer), channel);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      // Not to stderr's stream: that goes to the clients.
      writeSync(2, `nightyield kernel: refused ${error.message} on ${channel}\n`);
    }
  }
}

async function echo(heartbeat: Sockets["hb"]): Promise<void> {
  const sender = new Sender(heartbeat);
  for await (const frames of heartbeat) sender.send(frames);
}

/** Sends what is still to be sent, closes the sockets (Node aborts otherwise), and ends the process. */
async function end(code: number, because?: string): Promise<void> {
  if (ending) return;
  ending = true;
  for (const sender of senders.values()) await sender.settled();
  interrupter.close();
  for (const socket of Object.values(sockets ?? {})) socket.close();
  setTimeout(() => tellMain({ kind: "exit", code, ...(because !== undefined && { because }) }), closeMs);
  // A main thread in an endless loop, or one that still loads the compiler, never reads that.
  if (because === undefined)
    setTimeout(() => process.kill(process.pid, "SIGKILL"), mainReady ? endGraceMs : 2 * closeMs);
}

port.on("message", (message: ToSockets) => {
  if (message.kind === "publish")
    publish(message.type, message.content, message.parent, message.metadata, message.buffers);
  else if (message.kind === "reply") reply(message);
  else if (message.kind === "ready") mainReady = true;
  else interrupter.noticed();
});
watchParent(() => void end(0));

try {
  sockets = await bindSockets(connection);
  for (const name of ["shell", "control", "stdin", "iopub"] as const) senders.set(name, new Sender(sockets[name]));
  publish("status", { execution_state: "starting" }, {});
  void echo(sockets.hb);
  for (const channel of ["shell", "control", "stdin"] as const) void listen(sockets[channel], channel);
} catch (error) {
  void end(
    3,
    `Cannot listen at ${connection.ip}: ${(error as Error).message}. Is another kernel using this connection file?`,
  );
}
