/** The bytes of an unsigned 16-bit FITS frame with room for its pixels, which start at byte 2880. */
export function frameBytes(width, height) {
  const cards = [
    "SIMPLE  = T",
    "BITPIX  = 16",
    "NAXIS   = 2",
    `NAXIS1  = ${width}`,
    `NAXIS2  = ${height}`,
    "BZERO   = 32768",
    "BSCALE  = 1",
    "END",
  ];
  const bytes = new Uint8Array(2880 + Math.ceil((width * height * 2) / 2880) * 2880).fill(32, 0, 2880);
  for (const [i, card] of cards.entries()) bytes.set(new TextEncoder().encode(card), 80 * i);
  return bytes;
}
