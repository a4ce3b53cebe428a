import { type Header, isRecord, type Message } from "../messages/message.js";
import type { Signer } from "./signer.js";

const delimiter = Buffer.from("<IDS|MSG>");
/** More parts than any honest message has. */
const mostFrames = 4096;

/** A message that is not taken; the reason is for the log, never for the sender. */
export class Refusal extends Error {
  override readonly name = "Refusal";
}

/**
 * The message in some frames. The signature is checked before anything is parsed.
 * @throws Refusal when the frames are no message of the protocol or the signature is wrong
 */
export function unpack(frames: readonly Buffer[], signer: Signer): Message {
  if (frames.length > mostFrames) throw new Refusal(`a message of ${frames.length} frames`);
  const at = frames.findIndex((frame) => frame.equals(delimiter));
  if (at < 0) throw new Refusal("a message without delimiter");
  const parts = frames.slice(at + 2, at + 6);
  if (parts.length < 4) throw new Refusal("a message with too few frames");
  if (!signer.accepts(parts, frames[at + 1]!)) throw new Refusal("a message with a wrong or repeated signature");
  const [header, parent, metadata, content] = parts.map(parse);
  if (!isHeader(header)) throw new Refusal("a message whose header lacks msg_id, msg_type or session");
  if (!isRecord(content)) throw new Refusal("a message whose content is not an object");
  return {
    identities: frames.slice(0, at),
    header,
    parent: isRecord(parent) ? parent : {},
    metadata: isRecord(metadata) ? metadata : {},
    content,
    buffers: frames.slice(at + 6),
  };
}

/** The frames of a message, signed. */
export function pack(message: Message, signer: Signer): Buffer[] {
  const parts = [message.header, message.parent, message.metadata, message.content].map((part) =>
    Buffer.from(JSON.stringify(part)),
  );
  return [
    ...message.identities.map(asBuffer),
    delimiter,
    Buffer.from(signer.sign(parts)),
    ...parts,
    ...message.buffers.map(asBuffer),
  ];
}

const asBuffer = (bytes: Uint8Array) => Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength);

function parse(part: Buffer): unknown {
  try {
    return JSON.parse(part.toString("utf8"));
  } catch {
    throw new Refusal("a message that is not JSON");
  }
}

function isHeader(value: unknown): value is Header {
  return isRecord(value) && ["msg_id", "msg_type", "session"].every((name) => typeof value[name] === "string");
}
