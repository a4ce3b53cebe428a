import type { EventOf } from "./event-shapes.js";

type Damage = EventOf<"truncated-file" | "empty-file" | "foreign-file">;

/** A file as it looks after something went wrong with it. */
export function damaged(bytes: Uint8Array, event: Damage): Uint8Array {
  switch (event.kind) {
    case "truncated-file":
      return bytes.slice(0, Math.floor(bytes.length * event.keptFraction));
    case "empty-file":
      return new Uint8Array(0);
    case "foreign-file":
      return foreign[event.content](bytes.length);
    default:
      return event satisfies never;
  }
}

const ascii = (text: string) => Uint8Array.from(text, (c) => c.charCodeAt(0));

/** The smallest picture there is: one grey pixel. Hexadecimal, so that no packing library's output is frozen here. */
const onePixelPicture =
  "89504e470d0a1a0a0000000d49484452000000010000000108000000003a7e9b55" +
  "0000000a49444154789c636800000082008177cd72b60000000049454e44ae426082";

const foreign = {
  text: () => ascii("Remember to wipe the corrector plate and to charge the battery.\n"),
  zeros: (length: number) => new Uint8Array(length),
  picture: () => Uint8Array.from(onePixelPicture.match(/../g)!, (pair) => Number.parseInt(pair, 16)),
} as const;
