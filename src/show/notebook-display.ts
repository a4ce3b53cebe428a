/** Notebook kernels ask an object for a method of this name, which gives its media types. */
export const displaySymbol = Symbol.for("Jupyter.display");

/** What a notebook can show: by media type; bytes of pictures as bytes. */
export type DisplayBundle = Readonly<Record<string, unknown>>;

/** Something that a notebook shows by itself when it is a cell's result. */
export interface Displayed {
  [displaySymbol](): DisplayBundle;
}

/** Gives an object its way to be shown, out of sight of whoever lists its fields. */
export function displayed<T extends object>(value: T, bundle: () => DisplayBundle): T & Displayed {
  Object.defineProperty(value, displaySymbol, { value: bundle, enumerable: false });
  return value as T & Displayed;
}
