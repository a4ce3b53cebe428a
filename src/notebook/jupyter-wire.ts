import { createHmac, randomUUID, timingSafeEqual } from "node:crypto";
import { CannotError } from "../terms/errors.js";
import type { JsonObject } from "./notebook-shape.js";

/** The content of a connection file: where the kernel's five sockets are, and the key that signs messages. */
export interface Connection {
  readonly transport: "tcp";
  readonly ip: string;
  readonly shell_port: number;
  readonly iopub_port: number;
  readonly stdin_port: number;
  readonly control_port: number;
  readonly hb_port: number;
  readonly key: string;
  readonly signature_scheme: "hmac-sha256";
}

/** A message of the Jupyter messaging protocol 5 (https://jupyter-client.readthedocs.io/en/stable/messaging.html). */
export interface Message {
  readonly header: { readonly msg_id: string; readonly msg_type: string };
  /** The header of the request that this answers; empty where there is none. */
  readonly parent_header: { readonly msg_id?: string };
  readonly content: JsonObject;
}

const delimiter = "<IDS|MSG>";

/** The frames of a request and its id. */
export function packMessage(
  type: string,
  content: JsonObject,
  { key, session, date }: { readonly key: string; readonly session: string; readonly date: string },
): { id: string; frames: string[] } {
  const id = randomUUID();
  const header = { msg_id: id, session, username: "nightyield", date, msg_type: type, version: "5.3" };
  const parts = [header, {}, {}, content].map((part) => JSON.stringify(part));
  return { id, frames: [delimiter, sign(parts, key), ...parts] };
}

/**
 * Reads the frames of a message. The signature is compared in constant time and before anything is parsed.
 * @throws CannotError when the signature is wrong or the frames are no message
 */
export function unpackMessage(frames: readonly Uint8Array[], key: string): Message {
  const at = frames.findIndex((frame) => frame.length === delimiter.length && textOf(frame) === delimiter);
  const parts = frames.slice(at + 2, at + 6);
  if (at < 0 || parts.length < 4) throw new CannotError("The kernel sent something that is no Jupyter message");
  const expected = Buffer.from(sign(parts, key));
  const found = frames[at + 1]!;
  if (found.length !== expected.length || !timingSafeEqual(found, expected))
    throw new CannotError("The kernel sent a message with a wrong signature");
  const [header, parent_header, , content] = parts.map((part) => JSON.parse(textOf(part)));
  return { header, parent_header, content };
}

function sign(parts: readonly (string | Uint8Array)[], key: string): string {
  if (key === "") return "";
  const hmac = createHmac("sha256", key);
  for (const part of parts) hmac.update(part);
  return hmac.digest("hex");
}

const textOf = (bytes: Uint8Array) => Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength).toString("utf8");
