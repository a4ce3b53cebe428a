import { isRecord, type MimeBundle } from "../messages/message.js";
import { figureBundle, isFigure } from "./figure-bundle.js";
import { frameTableBundle, isFrameTable } from "./frame-table-bundle.js";
import { pictureBundle } from "./picture-bundle.js";
import { plainText } from "./plain-text.js";
import { dataFrameRecords, isRecords, recordsBundle } from "./records-bundle.js";

/** An object may have a method of this name that gives its own bundle. */
export const displaySymbol = Symbol.for("Jupyter.display");

/** How a value is shown: every bundle has text/plain. A promise only where an object's own display is one. */
export function mimeBundle(value: unknown): MimeBundle | Promise<MimeBundle> {
  if ((typeof value === "object" && value !== null) || typeof value === "function") {
    const own = (value as Readonly<Record<symbol, unknown>>)[displaySymbol];
    if (typeof own === "function") {
      const given: unknown = own.call(value);
      return given instanceof Promise ? given.then((bundle) => complete(bundle, value)) : complete(given, value);
    }
  }
  return knownBundle(value) ?? { "text/plain": plainText(value) };
}

function knownBundle(value: unknown): MimeBundle | undefined {
  if (typeof value !== "object" || value === null) return undefined;
  if (value instanceof Uint8Array) return pictureBundle(value);
  if (isFrameTable(value)) return frameTableBundle(value);
  if (isRecord(value) && isFrameTable(value.table)) return frameTableBundle(value.table);
  if (isFigure(value)) return figureBundle(value);
  const records = isRecords(value) ? value : dataFrameRecords(value);
  return records === undefined ? undefined : recordsBundle(records, value);
}

function complete(bundle: unknown, value: unknown): MimeBundle {
  if (!isRecord(bundle)) return { "text/plain": plainText(bundle ?? value) };
  return withEncodedBytes("text/plain" in bundle ? bundle : { ...bundle, "text/plain": plainText(value) });
}

/** Bytes travel as base-64. */
export function withEncodedBytes(bundle: MimeBundle): MimeBundle {
  return Object.fromEntries(
    Object.entries(bundle).map(([type, data]) => [
      type,
      data instanceof Uint8Array ? Buffer.from(data.buffer, data.byteOffset, data.byteLength).toString("base64") : data,
    ]),
  );
}
