import { createRequire, isBuiltin } from "node:module";
import { dirname, join } from "node:path";
import { pathToFileURL } from "node:url";
import vm from "node:vm";

type Namespace = Readonly<Record<string, unknown>>;
type Importer = (name: string) => Promise<Namespace>;

const importers = new Map<string, Importer>();

/**
 * Imports a package or a JavaScript file as Node would from a file in that folder: `exports`, `import` condition and all.
 * @param name - what stands in the import
 * @param folder - where the importing file lies
 */
export function nativeImport(name: string, folder: string): Promise<Namespace> {
  let importer = importers.get(folder);
  if (importer === undefined) {
    importer = importerAt(folder);
    importers.set(folder, importer);
  }
  return importer(name);
}

function importerAt(folder: string): Importer {
  const loader = vm.constants?.USE_MAIN_CONTEXT_DEFAULT_LOADER;
  if (loader !== undefined)
    return vm.runInThisContext("(name) => import(name)", {
      filename: join(folder, "importing-cell.js"),
      importModuleDynamically: loader,
    });
  // Node before 20.12 cannot import from elsewhere; what `require` finds is imported by its address.
  const { resolve } = createRequire(join(folder, "importing-cell.js"));
  return (name) => import(isBuiltin(name) ? name : pathToFileURL(resolve(name)).href);
}

/**
 * What compiled code gets from `require` for a module that was imported: for CommonJS what the module exports,
 * otherwise its names, live, and marked as an ES module.
 */
export function asRequired(namespace: Namespace, name: string, folder: string): unknown {
  const known = wrapped.get(namespace);
  if (known !== undefined) return known;
  const exported = commonJs(namespace, name, folder);
  // To Node, `default` is what a CommonJS module exports, even if it is marked as a translated ES module.
  const value = isTranslated(exported)
    ? liveNames({ default: exported, ...exported })
    : (exported ?? liveNames(namespace));
  if (typeof value === "object" || typeof value === "function") wrapped.set(namespace, value as object);
  return value;
}

const isTranslated = (exported: unknown): exported is Namespace =>
  typeof exported === "object" && exported !== null && "__esModule" in exported && !("default" in exported);

const wrapped = new WeakMap<object, object>();

function commonJs(namespace: Namespace, name: string, folder: string): unknown {
  if (!("default" in namespace)) return undefined;
  const require = createRequire(join(folder, "importing-cell.js"));
  try {
    if (isBuiltin(name)) return require(name);
    const cached = require.cache[require.resolve(name)];
    return cached !== undefined && cached.exports === namespace.default ? cached.exports : undefined;
  } catch {
    return undefined; // only an `import` condition: an ES module
  }
}

function liveNames(namespace: Namespace): object {
  const names = Object.create(null) as object;
  Object.defineProperty(names, "__esModule", { value: true });
  for (const name of Object.keys(namespace))
    Object.defineProperty(names, name, { enumerable: true, get: () => namespace[name] });
  return names;
}

/** True when the module itself, not one that it imports, was not found. */
export function isMissing(error: unknown, name: string, folder: string): boolean {
  const { code, message } = (error ?? {}) as { code?: string; message?: string };
  if (code === "MODULE_NOT_FOUND") return message?.includes(`'${name}'`) ?? false;
  if (code !== "ERR_MODULE_NOT_FOUND") return false;
  return message?.includes(join(folder, "importing-cell.js")) ?? dirname(folder) === folder;
}
