import type TS from "typescript";
import ts from "../../notebook/typescript.js";

/** What stands for `import()` and `import.meta` in compiled code. */
export const importFunction = "__import";
export const metaObject = "__meta";

/** Replaces `import(x)` and `import.meta`, which cannot stand in a script, by a call and an object that are handed in. */
export const replaceModuleForms: TS.TransformerFactory<TS.SourceFile> = (context) => {
  const { factory } = context;
  const visit = (node: TS.Node): TS.Node => {
    const inside = ts.visitEachChild(node, visit, context);
    if (ts.isCallExpression(inside) && inside.expression.kind === ts.SyntaxKind.ImportKeyword)
      return factory.updateCallExpression(
        inside,
        factory.createIdentifier(importFunction),
        undefined,
        inside.arguments,
      );
    if (ts.isMetaProperty(inside) && inside.keywordToken === ts.SyntaxKind.ImportKeyword)
      return factory.createIdentifier(metaObject);
    return inside;
  };
  return (file) => (file.text.includes("import") ? ts.visitEachChild(file, visit, context) : file);
};
