import type TS from "typescript";

/** What could stand at the cursor. Positions in UTF-16 units. */
export interface Completion {
  readonly start: number;
  readonly end: number;
  readonly matches: readonly { readonly text: string; readonly type: string }[];
}

/** Completions at a position, those that fit what is written already. */
export function completionsAt(service: TS.LanguageService, file: string, code: string, position: number): Completion {
  const found = service.getCompletionsAtPosition(file, position, {
    includeCompletionsForModuleExports: false,
    includeCompletionsWithInsertText: false,
  });
  const span = found?.entries.find((entry) => entry.replacementSpan !== undefined)?.replacementSpan;
  const start = span?.start ?? wordStart(code, position);
  const written = code.slice(start, position).toLowerCase();
  const matches = (found?.entries ?? [])
    // What ties cells together is not for the user.
    .filter(({ name }) => name.toLowerCase().startsWith(written) && !/^__|\$\d+$/.test(name))
    .sort((a, b) => (a.sortText < b.sortText ? -1 : a.sortText > b.sortText ? 1 : a.name < b.name ? -1 : 1))
    .map(({ name, kind }) => ({ text: name, type: kind }));
  return { start, end: position, matches };
}

function wordStart(code: string, position: number): number {
  let start = position;
  while (start > 0 && /[\p{ID_Continue}$]/u.test(code[start - 1]!)) start--;
  return start;
}
