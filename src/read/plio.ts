import { CodeError } from "./code-error.js";

/**
 * Decodes PLIO_1 (FITS Standard 4.0, section 10.4.3): a list of 16-bit instructions that draw runs of one height.
 * @param code - big-endian 16-bit words
 * @param count - pixels in the tile
 * @throws CodeError when the list is cut short or draws beyond the tile
 */
export function plioDecode(code: Uint8Array, count: number, into: Int32Array): void {
  const word = (i: number) => ((code[2 * i]! << 24) | (code[2 * i + 1]! << 16)) >> 16;
  const words = code.length >> 1;
  if (words < 3) throw new CodeError("the PLIO list has no header");
  // The third word is the list's length, or negative in the newer form, which gives header length and a longer length.
  const short = word(2) > 0;
  if (!short && words < 7) throw new CodeError("the PLIO list has no header");
  const length = short ? word(2) : word(4) * 32768 + word(3);
  const first = short ? 3 : word(1);
  if (length > words || first < 3 || first > words)
    throw new CodeError(`the PLIO list of ${words} words claims ${length}`);
  into.fill(0, 0, count);
  let height = 1;
  let at = 0;
  for (let i = first; i < length; i++) {
    const instruction = (code[2 * i]! >> 4) & 15;
    const data = ((code[2 * i]! & 15) << 8) | code[2 * i + 1]!;
    switch (instruction) {
      case 0: // a run of zeros
        at += data;
        break;
      case 1: // set the height: low 12 bits here, the rest in the next word
        if (++i >= length) throw new CodeError("the PLIO list ends within an instruction");
        height = word(i) * 4096 + data;
        break;
      case 2:
        height += data;
        break;
      case 3:
        height -= data;
        break;
      case 4: // a run of the height
        if (at + data > count) throw new CodeError("the PLIO list draws beyond the tile");
        into.fill(height, at, at + data);
        at += data;
        break;
      case 5: // zeros, then one pixel of the height
        at += data;
        if (at > count || data === 0) throw new CodeError("the PLIO list draws beyond the tile");
        into[at - 1] = height;
        break;
      case 6: // change the height and draw one pixel of it
      case 7:
        height += instruction === 6 ? data : -data;
        if (at >= count) throw new CodeError("the PLIO list draws beyond the tile");
        into[at++] = height;
        break;
      default:
        throw new CodeError(`the PLIO list holds an unknown instruction (${instruction})`);
    }
    if (at > count) throw new CodeError("the PLIO list draws beyond the tile");
  }
}
