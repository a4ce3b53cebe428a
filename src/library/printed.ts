/** Gives an object its text for `console.log`, out of sight of whoever lists its fields. */
export function printed<T extends { readonly text: string }>(value: T): T {
  Object.defineProperty(value, Symbol.for("nodejs.util.inspect.custom"), {
    value: () => value.text,
    enumerable: false,
  });
  return value;
}
