import type { Shown } from "./notebook-globals.js";

const mark = Symbol("shown already");

/** Marks what stands for something on display, so that it is not shown once more as the cell's result. */
export function shown<T extends object>(handle: T): T {
  Object.defineProperty(handle, mark, { value: true });
  return handle;
}

/** True for what `show`, `display` and `progress` give. */
export const isShownAlready = (value: unknown): value is Shown =>
  typeof value === "object" && value !== null && mark in value;
