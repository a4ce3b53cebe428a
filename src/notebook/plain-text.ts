// Built from char codes: control characters in a pattern are easily mistaken for a slip.
const escapeSign = String.fromCharCode(27);
const bell = String.fromCharCode(7);
const control = new RegExp(
  `${escapeSign}(?:\\[[0-?]*[ -/]*[@-~]|\\][^${bell}${escapeSign}]*(?:${bell}|${escapeSign}\\\\)|[@-Z\\\\^_])`,
  "g",
);

/**
 * Terminal output as it is read: colours and other control sequences are left out, and of a line that was written over
 * (progress, with a carriage return) the last state stays.
 */
export function plainText(text: string): string {
  const bare = text.replace(control, "").replaceAll("\r\n", "\n");
  if (!bare.includes("\r")) return bare;
  return bare
    .split("\n")
    .map((line) => line.split("\r").findLast((state) => state !== "") ?? "")
    .join("\n");
}
