import type TS from "typescript";
import ts from "../../notebook/typescript.js";

/** The type and the documentation of the name at a position or just before it, or of the call that the position is in. */
export function describeAt(
  service: TS.LanguageService,
  file: string,
  code: string,
  position: number,
): string | undefined {
  const at = Math.max(0, Math.min(position, code.length));
  const info =
    [at, at - 1].map((p) => (p < 0 ? undefined : service.getQuickInfoAtPosition(file, p))).find(Boolean) ??
    called(service, file, code, at);
  if (info === undefined) return undefined;
  const tags = (info.tags ?? []).map(({ name, text }) => `@${name} ${ts.displayPartsToString(text)}`.trimEnd());
  return [ts.displayPartsToString(info.displayParts), ts.displayPartsToString(info.documentation), ...tags]
    .filter(Boolean)
    .join("\n");
}

function called(service: TS.LanguageService, file: string, code: string, position: number): TS.QuickInfo | undefined {
  const help = service.getSignatureHelpItems(file, position, undefined);
  if (help === undefined) return undefined;
  let at = help.applicableSpan.start - 1;
  while (at > 0 && !/[\p{ID_Continue}$]/u.test(code[at]!)) at--;
  return service.getQuickInfoAtPosition(file, at);
}
