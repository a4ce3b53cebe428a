import type TS from "typescript";
import { escapeHtml } from "../show/html.js";
import ts from "./typescript.js";

type Kind = "keyword" | "text" | "number" | "comment";
const kindClass: Readonly<Record<Kind, string>> = { keyword: "k", text: "s", number: "n", comment: "c" };

/**
 * TypeScript as HTML, lightly coloured: keywords (class `k`), texts (`s`), numbers (`n`) and comments (`c`). Everything
 * else stays as it is; code that does not compile is coloured as far as it can be told.
 */
export function colouredCode(source: string): string {
  let html = "";
  for (const { text, kind } of pieces(source)) {
    const safe = escapeHtml(text);
    html += kind === null ? safe : `<span class="${kindClass[kind]}">${safe}</span>`;
  }
  return html;
}

interface Piece {
  readonly text: string;
  readonly kind: Kind | null;
}

const { SyntaxKind } = ts;
/** Behind these a slash divides; behind anything else it starts a regular expression. */
const operandEnds = new Set<TS.SyntaxKind>([
  SyntaxKind.Identifier,
  SyntaxKind.NumericLiteral,
  SyntaxKind.BigIntLiteral,
  SyntaxKind.StringLiteral,
  SyntaxKind.RegularExpressionLiteral,
  SyntaxKind.NoSubstitutionTemplateLiteral,
  SyntaxKind.TemplateTail,
  SyntaxKind.CloseParenToken,
  SyntaxKind.CloseBracketToken,
  SyntaxKind.CloseBraceToken,
  SyntaxKind.ThisKeyword,
  SyntaxKind.SuperKeyword,
  SyntaxKind.TrueKeyword,
  SyntaxKind.FalseKeyword,
  SyntaxKind.NullKeyword,
]);

function* pieces(source: string): Generator<Piece> {
  const scanner = ts.createScanner(ts.ScriptTarget.Latest, false, ts.LanguageVariant.Standard, source, () => {});
  // For each template that is open: how many braces are open inside its current expression.
  const templates: number[] = [];
  let before: TS.SyntaxKind = SyntaxKind.Unknown;
  for (let token = scanner.scan(); token !== SyntaxKind.EndOfFileToken; token = scanner.scan()) {
    if ((token === SyntaxKind.SlashToken || token === SyntaxKind.SlashEqualsToken) && !operandEnds.has(before))
      token = scanner.reScanSlashToken();
    if (token === SyntaxKind.OpenBraceToken && templates.length > 0) templates[templates.length - 1]!++;
    if (token === SyntaxKind.CloseBraceToken && templates.length > 0 && templates[templates.length - 1]!-- === 0) {
      templates.pop();
      token = scanner.reScanTemplateToken(false);
      if (token === SyntaxKind.TemplateMiddle) templates.push(0);
    }
    if (token === SyntaxKind.TemplateHead) templates.push(0);
    const name: boolean = before === SyntaxKind.DotToken || before === SyntaxKind.QuestionDotToken;
    yield { text: scanner.getTokenText(), kind: name ? null : kindOf(token) };
    if (!isTrivia(token)) before = name ? SyntaxKind.Identifier : token;
  }
}

const isTrivia = (token: TS.SyntaxKind) => token >= SyntaxKind.FirstTriviaToken && token <= SyntaxKind.LastTriviaToken;

function kindOf(token: TS.SyntaxKind): Kind | null {
  if (token === SyntaxKind.SingleLineCommentTrivia || token === SyntaxKind.MultiLineCommentTrivia) return "comment";
  if (token === SyntaxKind.NumericLiteral || token === SyntaxKind.BigIntLiteral) return "number";
  if (token === SyntaxKind.StringLiteral || token === SyntaxKind.RegularExpressionLiteral) return "text";
  if (token >= SyntaxKind.FirstTemplateToken && token <= SyntaxKind.LastTemplateToken) return "text";
  return isKeyword(token) ? "keyword" : null;
}

/** Words that are names as often as keywords stay plain: `type`, `of`, `from` and `as` are worth their colour, `number` is not. */
const worthIt = new Set<TS.SyntaxKind>([
  SyntaxKind.AsKeyword,
  SyntaxKind.AsyncKeyword,
  SyntaxKind.AwaitKeyword,
  SyntaxKind.FromKeyword,
  SyntaxKind.OfKeyword,
  SyntaxKind.SatisfiesKeyword,
  SyntaxKind.LetKeyword,
  SyntaxKind.InterfaceKeyword,
  SyntaxKind.ReadonlyKeyword,
]);
const isKeyword = (token: TS.SyntaxKind) =>
  (token >= SyntaxKind.FirstReservedWord && token <= SyntaxKind.LastReservedWord) || worthIt.has(token);
