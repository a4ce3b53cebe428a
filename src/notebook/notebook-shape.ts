/** Plain JSON. */
export type Json = null | boolean | number | string | readonly Json[] | { readonly [name: string]: Json };
export type JsonObject = { readonly [name: string]: Json };

/** One result in several forms, by MIME type. Text forms are whole strings; JSON forms are JSON. */
export type MimeBundle = JsonObject;

export interface StreamOutput {
  readonly output_type: "stream";
  /** `stdout` or `stderr`. */
  readonly name: string;
  readonly text: string;
}
export interface DisplayOutput {
  readonly output_type: "display_data";
  readonly data: MimeBundle;
  readonly metadata: JsonObject;
}
export interface ResultOutput {
  readonly output_type: "execute_result";
  readonly data: MimeBundle;
  readonly metadata: JsonObject;
  readonly execution_count: number | null;
}
export interface ErrorOutput {
  readonly output_type: "error";
  readonly ename: string;
  readonly evalue: string;
  readonly traceback: readonly string[];
}
export type Output = StreamOutput | DisplayOutput | ResultOutput | ErrorOutput;

interface AnyCell {
  /** 1 to 64 letters, digits, `-` and `_`; unique within the notebook. */
  readonly id: string;
  readonly metadata: JsonObject;
  readonly source: string;
}
export interface CodeCell extends AnyCell {
  readonly cell_type: "code";
  readonly execution_count: number | null;
  readonly outputs: readonly Output[];
}
export interface TextCell extends AnyCell {
  readonly cell_type: "markdown" | "raw";
  readonly attachments?: { readonly [name: string]: MimeBundle };
}
export type Cell = CodeCell | TextCell;

/**
 * A notebook of the format nbformat 4.5 (https://nbformat.readthedocs.io), with its own names. Unlike in the file, text
 * is one string and not a list of lines.
 */
export interface Notebook {
  readonly cells: readonly Cell[];
  readonly metadata: JsonObject;
  readonly nbformat: 4;
  readonly nbformat_minor: number;
}

/** The tags of a cell; none where its metadata holds none. */
export function tagsOf(cell: Cell): readonly string[] {
  const { tags } = cell.metadata;
  return Array.isArray(tags) ? tags.filter((tag) => typeof tag === "string") : [];
}

/** True for MIME types whose content is JSON rather than text. */
export const isJsonMime = (mime: string): boolean => /^application\/(?:.*\+)?json$/.test(mime);

/** True for plain objects of JSON. */
export const isObject = (value: unknown): value is { readonly [name: string]: unknown } =>
  typeof value === "object" && value !== null && !Array.isArray(value);
