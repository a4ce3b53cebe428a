import { CannotError } from "../../terms/errors.js";
import { isRecord } from "../messages/message.js";

export const socketNames = ["shell", "control", "stdin", "iopub", "hb"] as const;
export type SocketName = (typeof socketNames)[number];

/** Where a kernel listens and how it signs: the connection file of the Jupyter protocol. */
export interface Connection {
  readonly transport: "tcp" | "ipc";
  readonly ip: string;
  readonly ports: Readonly<Record<SocketName, number>>;
  /** Empty: messages are not signed. */
  readonly key: string;
  /** For example "hmac-sha256". */
  readonly signatureScheme: string;
}

/**
 * The connection from the text of a connection file.
 * @param file - its name, for messages
 * @throws CannotError when a field is missing or of the wrong kind
 */
export function parseConnection(text: string, file: string): Connection {
  const wrong = (what: string) =>
    new CannotError(`Cannot use the connection file ${file}: ${what}. Start the kernel from a notebook program`);
  let fields: unknown;
  try {
    fields = JSON.parse(text);
  } catch {
    throw wrong("it is not JSON");
  }
  if (!isRecord(fields)) throw wrong("it is not a JSON object");
  const { transport = "tcp", ip, key = "", signature_scheme: signatureScheme = "hmac-sha256" } = fields;
  if (transport !== "tcp" && transport !== "ipc") throw wrong(`its transport is ${transport}, expected tcp or ipc`);
  if (typeof ip !== "string" || ip === "") throw wrong("it has no ip");
  if (typeof key !== "string" || typeof signatureScheme !== "string") throw wrong("its key is not a text");
  const ports = {} as Record<SocketName, number>;
  for (const name of socketNames) {
    const port = fields[`${name}_port`];
    if (!Number.isInteger(port) || (port as number) < 1 || (port as number) > 65535)
      throw wrong(`${name}_port is ${port}, expected 1 to 65535`);
    ports[name] = port as number;
  }
  return { transport, ip, ports, key, signatureScheme };
}

/** The address one socket binds to. */
export function endpoint({ transport, ip, ports }: Connection, name: SocketName): string {
  if (transport === "ipc") return `ipc://${ip}-${ports[name]}`;
  return `tcp://${ip.includes(":") ? `[${ip}]` : ip}:${ports[name]}`;
}
