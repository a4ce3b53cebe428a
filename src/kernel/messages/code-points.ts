/** A position in UTF-16 units (as strings count) from one in code points (as the protocol counts). */
export function unitsFromCodePoints(text: string, position: number): number {
  let units = 0;
  let points = 0;
  for (const character of text) {
    if (points++ >= position) break;
    units += character.length;
  }
  return units;
}

/** A position in code points from one in UTF-16 units. */
export function codePointsFromUnits(text: string, units: number): number {
  return [...text.slice(0, units)].length;
}
