/** The header of a message of the Jupyter protocol; the names are the protocol's. */
export interface Header {
  readonly msg_id: string;
  readonly msg_type: string;
  readonly session: string;
  readonly username?: string;
  readonly date?: string;
  readonly version?: string;
}

export type Fields = Readonly<Record<string, unknown>>;

/** A message as it travels. `parent` is the header of the request it answers, or empty. */
export interface Message {
  /** Where a reply is sent; for a published message its topic. */
  readonly identities: readonly Uint8Array[];
  readonly header: Header;
  readonly parent: Header | Fields;
  readonly metadata: Fields;
  readonly content: Fields;
  readonly buffers: readonly Uint8Array[];
}

/** What the same thing looks like in several media types, the richest one a client knows is shown. */
export type MimeBundle = Readonly<Record<string, unknown>>;

/** Version of the protocol that is spoken. */
export const protocolVersion = "5.3";

export const isRecord = (value: unknown): value is Record<string, unknown> =>
  typeof value === "object" && value !== null && !Array.isArray(value);
