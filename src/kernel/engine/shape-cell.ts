import type TS from "typescript";
import ts from "../../notebook/typescript.js";
import type { CellSource } from "./cell-source.js";
import { namesFunction, resultObject } from "./cell-text.js";

/**
 * Turns a cell into what is run: imports first, then the cell's names are handed over (as functions that read and write
 * them, so that those made before an error live on), then the user's statements, the last expression being the result.
 * @param cellOf - the cell in a file, if it is one
 */
export function shapeCell(cellOf: (file: string) => CellSource | undefined): TS.TransformerFactory<TS.SourceFile> {
  return ({ factory }) =>
    (file) => {
      const cell = cellOf(file.fileName);
      if (cell === undefined) return file;
      const own: TS.Statement[] = [];
      const imports: TS.Statement[] = [];
      let names: TS.Statement | undefined;
      for (const statement of file.statements) {
        const added = statement.pos >= cell.code.length;
        if (ts.isImportDeclaration(statement) || ts.isImportEqualsDeclaration(statement)) imports.push(statement);
        else if (!added) own.push(statement);
        else if (ts.isExpressionStatement(statement) && ts.isCallExpression(statement.expression))
          names = registration(factory, statement.expression, cell);
      }
      let last = own.length - 1;
      while (last >= 0 && ts.isEmptyStatement(own[last]!)) last--;
      const result = own[last];
      if (result !== undefined && ts.isExpressionStatement(result)) {
        const target = factory.createPropertyAccessExpression(factory.createIdentifier(resultObject), "value");
        const assignment = factory.createAssignment(target, result.expression);
        own[last] = ts.setTextRange(factory.createExpressionStatement(assignment), result);
      }
      return factory.updateSourceFile(file, [...imports, ...(names === undefined ? [] : [names]), ...own]);
    };
}

/** `__names({ name: [() => name, (v) => { name = v }], ... })` */
function registration(factory: TS.NodeFactory, call: TS.CallExpression, cell: CellSource): TS.Statement {
  const properties = call.arguments.flatMap((reader) => {
    if (!ts.isArrowFunction(reader) || !ts.isIdentifier(reader.body)) return [];
    const name = reader.body.text;
    const pair: TS.Expression[] = [reader];
    if (cell.declared.get(name) === "variable") {
      // Made here and not in the text, because the compiler would see an assignment and narrow the user's types less.
      const target = cell.exported.has(name)
        ? factory.createPropertyAccessExpression(factory.createIdentifier("exports"), name)
        : factory.createIdentifier(name);
      const value = factory.createUniqueName("value");
      const parameter = factory.createParameterDeclaration(undefined, undefined, value);
      const body = factory.createBlock([factory.createExpressionStatement(factory.createAssignment(target, value))]);
      pair.push(factory.createArrowFunction(undefined, undefined, [parameter], undefined, undefined, body));
    }
    return [
      factory.createPropertyAssignment(factory.createStringLiteral(name), factory.createArrayLiteralExpression(pair)),
    ];
  });
  return factory.createExpressionStatement(
    factory.createCallExpression(factory.createIdentifier(namesFunction), undefined, [
      factory.createObjectLiteralExpression(properties),
    ]),
  );
}
