/** The compressed code of one tile is damaged. The image around it turns this into a FitsError with file and byte. */
export class CodeError extends Error {
  override readonly name = "CodeError";
}
