import { CallError } from "../terms/errors.js";

/** Where in which file a value stands: `$.camera.width`. */
export interface JsonPlace {
  readonly file: string;
  readonly path: string;
}

/** What a JSON value may be, with what it means; reading fills in what is left out. */
export interface Shape<T> {
  readonly about: string;
  /** What is allowed, in words. */
  readonly allowed: string;
  /** Used when the value is left out; undefined: it has to be there. */
  readonly otherwise: T | undefined;
  /** Fields of an object, or what a list or a name holds; for documentation. */
  readonly fields?: Readonly<Record<string, Shape<unknown>>>;
  /** @throws CallError naming file, path, what was found and what is allowed */
  read(value: unknown, at: JsonPlace): T;
}
export type Of<S> = S extends Shape<infer T> ? T : never;

const shown = (value: unknown) => {
  const text = value === undefined ? "nothing" : JSON.stringify(value);
  return text.length > 60 ? `${text.slice(0, 57)}...` : text;
};

/** The error for a value that a scenario may not hold. */
export const notAllowed = (at: JsonPlace, found: unknown, allowed: string) =>
  new CallError(`Cannot use the scenario ${at.file}: ${at.path} is ${shown(found)}. Allowed: ${allowed}`);

/** A number from `min` to `max`; the unit ends the field's name. */
export function number(about: string, min: number, max: number, otherwise?: number): Shape<number> {
  const allowed = `a number from ${min} to ${max}`;
  return {
    about,
    allowed,
    otherwise,
    read(value, at) {
      if (typeof value !== "number" || !(value >= min && value <= max)) throw notAllowed(at, value, allowed);
      return value;
    },
  };
}

/** A whole number from `min` to `max`. */
export function whole(about: string, min: number, max: number, otherwise?: number): Shape<number> {
  const allowed = `a whole number from ${min} to ${max}`;
  return {
    ...number(about, min, max, otherwise),
    allowed,
    read(value, at) {
      if (!Number.isInteger(value) || (value as number) < min || (value as number) > max)
        throw notAllowed(at, value, allowed);
      return value as number;
    },
  };
}

/** A text; with a pattern, one that matches. `allowed` puts the pattern in words. */
export function text(about: string, otherwise?: string, pattern = /\S/, allowed = "a text"): Shape<string> {
  return {
    about,
    allowed,
    otherwise,
    read(value, at) {
      if (typeof value !== "string" || !pattern.test(value)) throw notAllowed(at, value, allowed);
      return value;
    },
  };
}

/** One of a few words. */
export function oneOf<const T extends string>(about: string, words: readonly T[], otherwise?: T): Shape<T> {
  const allowed = `one of ${words.map((word) => `"${word}"`).join(", ")}`;
  return {
    about,
    allowed,
    otherwise,
    read(value, at) {
      if (!words.includes(value as T)) throw notAllowed(at, value, allowed);
      return value as T;
    },
  };
}

/** Three numbers: for red, green and blue. */
export function colours(about: string, otherwise: readonly [number, number, number]) {
  const allowed = "three numbers from 0 to 10, for red, green and blue";
  return {
    about,
    allowed,
    otherwise,
    read(value, at) {
      const good = Array.isArray(value) && value.length === 3 && value.every((n) => n >= 0 && n <= 10);
      if (!good) throw notAllowed(at, value, allowed);
      return value as unknown as readonly [number, number, number];
    },
  } satisfies Shape<readonly [number, number, number]>;
}

/** A list of values of one shape. */
export function list<T>(about: string, item: Shape<T>, least = 0, otherwise?: readonly T[]): Shape<readonly T[]> {
  const allowed = `a list of ${least > 0 ? `at least ${least}: ` : ""}${item.about}`;
  return {
    about,
    allowed,
    otherwise,
    fields: { "[]": item },
    read(value, at) {
      if (!Array.isArray(value) || value.length < least) throw notAllowed(at, value, allowed);
      return value.map((entry, i) => item.read(entry, { ...at, path: `${at.path}[${i}]` }));
    },
  };
}

/** An object whose keys are names of the user's own. */
export function named<T>(about: string, item: Shape<T>): Shape<Readonly<Record<string, T>>> {
  const allowed = `an object with at least one name: ${item.about}`;
  return {
    about,
    allowed,
    otherwise: undefined,
    fields: { NAME: item },
    read(value, at) {
      if (!isObject(value) || Object.keys(value).length === 0) throw notAllowed(at, value, allowed);
      return Object.fromEntries(
        Object.entries(value).map(([key, entry]) => [
          key,
          item.read(entry, { ...at, path: `${at.path}[${JSON.stringify(key)}]` }),
        ]),
      );
    },
  };
}

type Fields = Readonly<Record<string, Shape<unknown>>>;
type ObjectOf<F extends Fields> = { readonly [K in keyof F]: Of<F[K]> };

/** An object with these fields and no others. */
export function object<F extends Fields>(about: string, fields: F, otherwise?: "may-be-left-out"): Shape<ObjectOf<F>> {
  const names = Object.keys(fields);
  const allowed = `an object with ${names.join(", ")}`;
  const read = (value: unknown, at: JsonPlace): ObjectOf<F> => {
    if (!isObject(value)) throw notAllowed(at, value, allowed);
    for (const key of Object.keys(value))
      if (!Object.hasOwn(fields, key))
        throw new CallError(
          `Cannot use the scenario ${at.file}: ${at.path} has no field '${key}'. Allowed: ${names.join(", ")}`,
        );
    const result: Record<string, unknown> = {};
    for (const [name, shape] of Object.entries(fields)) {
      const place = { ...at, path: `${at.path}.${name}` };
      if (value[name] !== undefined) result[name] = shape.read(value[name], place);
      else if (shape.otherwise !== undefined) result[name] = shape.otherwise;
      else
        throw new CallError(
          `Cannot use the scenario ${at.file}: ${place.path} is missing. Give ${shape.allowed} (${shape.about})`,
        );
    }
    return result as ObjectOf<F>;
  };
  // What may be left out is read from nothing, so that the defaults of its fields stand in one place.
  const empty = otherwise === undefined ? undefined : read({}, { file: "the defaults", path: "$" });
  return { about, allowed, otherwise: empty, fields, read };
}

/** One of several objects, told apart by the word in their field `kind`. */
export function anyKind<K extends string, M extends Readonly<Record<K, Shape<unknown>>>>(about: string, kinds: M) {
  type Result = { [P in keyof M & string]: Of<M[P]> & { readonly kind: P } }[keyof M & string];
  const words = Object.keys(kinds);
  const allowed = `an object whose "kind" is one of ${words.map((word) => `"${word}"`).join(", ")}`;
  const shape: Shape<Result> = {
    about,
    allowed,
    otherwise: undefined,
    fields: kinds,
    read(value, at) {
      if (!isObject(value)) throw notAllowed(at, value, allowed);
      const { kind, ...rest } = value;
      if (typeof kind !== "string" || !Object.hasOwn(kinds, kind))
        throw notAllowed({ ...at, path: `${at.path}.kind` }, kind, `one of ${words.map((w) => `"${w}"`).join(", ")}`);
      return { kind, ...(kinds[kind as K]!.read(rest, at) as object) } as Result;
    },
  };
  return shape;
}

/** A shape that may also be null. */
export function orNull<T>(shape: Shape<T>): Shape<T | null> {
  return {
    ...shape,
    otherwise: null,
    allowed: `${shape.allowed}, or null`,
    read: (value, at) => (value === null ? null : shape.read(value, at)),
  };
}

const isObject = (value: unknown): value is Record<string, unknown> =>
  typeof value === "object" && value !== null && !Array.isArray(value);
