import { inspect } from "node:util";

/** Longer arrays are cut; their length is said. */
const mostItems = 100;
const mostNumbers = 12;

/** A value as text, short enough to read. */
export function plainText(value: unknown): string {
  const numbers = ArrayBuffer.isView(value) || value instanceof ArrayBuffer;
  return inspect(value, {
    depth: 4,
    maxArrayLength: numbers ? mostNumbers : mostItems,
    maxStringLength: 20_000,
    breakLength: 100,
    compact: 3,
  });
}
