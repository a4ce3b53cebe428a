import type TS from "typescript";
import ts from "../../notebook/typescript.js";

/** How a name may be used after its cell: a `variable` can be assigned, a `value` cannot, a `type` has no value. */
export type NameKind = "variable" | "value" | "type";

/** What a cell's text declares and mentions at its top level. */
export interface CellSource {
  readonly code: string;
  readonly declared: ReadonlyMap<string, NameKind>;
  /** Those that the cell itself marks with `export`. */
  readonly exported: ReadonlySet<string>;
  readonly mentioned: ReadonlySet<string>;
  /** Modules it imports by a relative path. */
  readonly relativeImports: readonly string[];
  /** It adds to global or to another module's types, so that it has to stay. */
  readonly augments: boolean;
}

/** Reads a cell's text; it may be wrong or unfinished. */
export function readCell(code: string): CellSource {
  const file = ts.createSourceFile("cell.ts", code, ts.ScriptTarget.Latest, false, ts.ScriptKind.TS);
  const declared = new Map<string, NameKind>();
  const exported = new Set<string>();
  const relativeImports: string[] = [];
  let augments = false;
  for (const statement of file.statements) {
    const names = namesOf(statement);
    for (const [name, kind] of names) if (kind !== "type" || !declared.has(name)) declared.set(name, kind);
    if (hasModifier(statement, ts.SyntaxKind.ExportKeyword)) for (const [name] of names) exported.add(name);
    if (ts.isImportDeclaration(statement) && ts.isStringLiteral(statement.moduleSpecifier))
      if (statement.moduleSpecifier.text.startsWith(".")) relativeImports.push(statement.moduleSpecifier.text);
    augments ||=
      ts.isModuleDeclaration(statement) &&
      (ts.isStringLiteral(statement.name) || (statement.flags & ts.NodeFlags.GlobalAugmentation) !== 0);
  }
  const mentioned = new Set<string>();
  const visit = (node: TS.Node): void => {
    if (ts.isIdentifier(node)) mentioned.add(node.text);
    ts.forEachChild(node, visit);
  };
  visit(file);
  return { code, declared, exported, mentioned, relativeImports, augments };
}

function hasModifier(node: TS.Node, kind: TS.SyntaxKind): boolean {
  return ts.canHaveModifiers(node) && (ts.getModifiers(node)?.some((modifier) => modifier.kind === kind) ?? false);
}

function namesOf(statement: TS.Statement): [string, NameKind][] {
  if (ts.isVariableStatement(statement)) {
    const { flags, declarations } = statement.declarationList;
    // What `using` declares is disposed of at the end of its cell.
    if ((flags & ts.NodeFlags.Using) === ts.NodeFlags.Using) return [];
    const kind = hasModifier(statement, ts.SyntaxKind.DeclareKeyword)
      ? "type"
      : flags & ts.NodeFlags.Const
        ? "value"
        : "variable";
    return declarations.flatMap(({ name }) => boundNames(name)).map((name) => [name, kind]);
  }
  if (ts.isImportDeclaration(statement)) return importedNames(statement).map(({ name, kind }) => [name, kind]);
  if (ts.isImportEqualsDeclaration(statement)) return [[statement.name.text, "value"]];
  if (ts.isInterfaceDeclaration(statement) || ts.isTypeAliasDeclaration(statement))
    return [[statement.name.text, "type"]];
  if (
    ts.isFunctionDeclaration(statement) ||
    ts.isClassDeclaration(statement) ||
    ts.isEnumDeclaration(statement) ||
    ts.isModuleDeclaration(statement)
  ) {
    if (statement.name === undefined || !ts.isIdentifier(statement.name)) return [];
    if ((statement.flags & ts.NodeFlags.GlobalAugmentation) !== 0) return [];
    return [[statement.name.text, hasModifier(statement, ts.SyntaxKind.DeclareKeyword) ? "type" : "value"]];
  }
  return [];
}

function boundNames(name: TS.BindingName): string[] {
  if (ts.isIdentifier(name)) return [name.text];
  return name.elements.flatMap((element) => (ts.isOmittedExpression(element) ? [] : boundNames(element.name)));
}

function importedNames({ importClause }: TS.ImportDeclaration): { name: string; kind: NameKind }[] {
  if (importClause === undefined) return [];
  const typeOnly = importClause.phaseModifier === ts.SyntaxKind.TypeKeyword;
  const found: { name: string; kind: NameKind }[] = [];
  const add = (name: TS.Identifier, isType: boolean) =>
    found.push({ name: name.text, kind: isType ? "type" : "value" });
  const { name, namedBindings } = importClause;
  if (name !== undefined) add(name, typeOnly);
  if (namedBindings !== undefined && ts.isNamespaceImport(namedBindings)) add(namedBindings.name, typeOnly);
  if (namedBindings !== undefined && ts.isNamedImports(namedBindings))
    for (const element of namedBindings.elements) add(element.name, typeOnly || element.isTypeOnly);
  return found;
}
