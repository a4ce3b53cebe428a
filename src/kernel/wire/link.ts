import type { Fields, Header, Message } from "../messages/message.js";

/** Channels that carry requests. */
export type RequestChannel = "shell" | "control" | "stdin";

/** A request as it comes to the main thread. */
export interface Request extends Message {
  readonly channel: RequestChannel;
}

/** A message to all clients. */
export interface Publication {
  readonly kind: "publish";
  readonly type: string;
  readonly content: Fields;
  readonly parent: Header | Fields;
  readonly metadata: Fields;
  readonly buffers: readonly Uint8Array[];
}

/** An answer to one client. */
export interface Reply {
  readonly kind: "reply";
  readonly channel: RequestChannel;
  readonly identities: readonly Uint8Array[];
  readonly type: string;
  readonly content: Fields;
  readonly parent: Header | Fields;
}

/** What the socket thread tells the main thread. */
export type ToMain =
  | { readonly kind: "request"; readonly request: Request }
  | { readonly kind: "interrupt" }
  | { readonly kind: "exit"; readonly code: number; readonly because?: string };

/** What the main thread tells the socket thread. */
export type ToSockets =
  | Publication
  | Reply
  | { readonly kind: "ready" }
  /** The main thread has taken note of an interrupt: it is not stuck. */
  | { readonly kind: "interrupted" };
