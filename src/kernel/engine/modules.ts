import { statSync } from "node:fs";
import { createRequire, isBuiltin } from "node:module";
import { dirname, isAbsolute, join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { type CellHost, ownFile } from "./cell-host.js";
import { type Imports, LocalModules } from "./local-modules.js";
import { asRequired, isMissing, nativeImport } from "./native-import.js";
import type { StackLines } from "./stack-lines.js";

const requireCall = /\brequire\("((?:[^"\\]|\\.)+)"\)/g;

/** Loads what cells import: the user's TypeScript files, packages, Node's own modules. */
export class Modules {
  readonly #host: CellHost;
  readonly #local: LocalModules;

  constructor(host: CellHost, stackLines: StackLines) {
    this.#host = host;
    this.#local = new LocalModules(stackLines, (compiled, file, needs, chain) =>
      this.#importsFor(compiled, file, needs, chain),
    );
  }

  /** Loads everything a compiled cell requires. `given` modules are handed out as they are. */
  async importsForCell(compiled: string, file: string, given: ReadonlyMap<string, unknown>): Promise<Imports> {
    if (namesIn(compiled).some((name) => !given.has(name))) this.#local.forgetChanged();
    return this.#importsFor(compiled, file, new Set(), new Set(), given);
  }

  async #importsFor(
    compiled: string,
    file: string,
    needs: Set<string>,
    chain: ReadonlySet<string>,
    given: ReadonlyMap<string, unknown> = new Map(),
  ): Promise<Imports> {
    const loaded = new Map(given);
    const failed = new Map<string, unknown>();
    for (const name of namesIn(compiled)) {
      if (loaded.has(name)) continue;
      try {
        loaded.set(name, await this.#load(name, file, needs, chain));
      } catch (error) {
        failed.set(name, error); // thrown where the code asks for it, as it may never do
      }
    }
    const plainRequire = createRequire(file);
    const required = (name: string): unknown => {
      if (failed.has(name)) throw failed.get(name);
      return loaded.has(name) ? loaded.get(name) : plainRequire(name);
    };
    return {
      require: Object.assign(required, { resolve: plainRequire.resolve, cache: plainRequire.cache }),
      import: (name) => this.#import(String(name), file),
    };
  }

  /** For `require` in compiled code. */
  async #load(name: string, file: string, needs: Set<string>, chain: ReadonlySet<string>): Promise<unknown> {
    const local = this.#localFile(name, file);
    if (local !== undefined) {
      needs.add(local);
      return this.#local.load(local, chain);
    }
    if (name.endsWith(".json")) return this.#json(name, file);
    const { namespace, folder } = await this.#native(name, file);
    return asRequired(namespace, name, folder);
  }

  /** For `import()` in compiled code. */
  async #import(name: string, file: string): Promise<unknown> {
    const local = this.#localFile(name, file);
    if (local !== undefined) {
      this.#local.forgetChanged();
      return this.#local.load(local, new Set());
    }
    if (name.endsWith(".json")) return { default: this.#json(name, file) };
    return (await this.#native(name, file)).namespace;
  }

  #json(name: string, file: string): unknown {
    const require = createRequire(file);
    const path = require.resolve(name);
    delete require.cache[path];
    return require(path);
  }

  /** A file of the user's that has to be compiled. */
  #localFile(name: string, file: string): string | undefined {
    if (isBuiltin(name) || /^[a-z-]+:/.test(name)) return undefined;
    return this.#host.localFile(name, file);
  }

  async #native(name: string, file: string) {
    if (name.startsWith(".") || isAbsolute(name)) {
      // A file that has changed gets a new address, as Node keeps what it has loaded.
      const path = resolve(dirname(file), name);
      const address = `${pathToFileURL(path).href}?${statSync(path, { throwIfNoEntry: false })?.mtimeMs ?? ""}`;
      if (/\.mjs$/.test(path)) return { namespace: await nativeImport(address, dirname(file)), folder: dirname(file) };
      return { namespace: await nativeImport(pathToFileURL(path).href, dirname(file)), folder: dirname(file) };
    }
    const folder = dirname(file);
    try {
      return { namespace: await nativeImport(name, folder), folder };
    } catch (error) {
      if (!isMissing(error, name, folder)) throw error;
      // The library itself, and what it needs, can be imported from anywhere.
      const own = dirname(ownFile);
      try {
        return { namespace: await nativeImport(name, own), folder: own };
      } catch (second) {
        throw isMissing(second, name, own) ? notInstalled(name, folder) : second;
      }
    }
  }
}

const namesIn = (compiled: string) =>
  [...compiled.matchAll(requireCall)].map((match) => JSON.parse(`"${match[1]}"`) as string);

const notInstalled = (name: string, folder: string) =>
  Object.assign(
    new Error(`Cannot find the package '${name}' from ${join(folder)}. Install it there: npm install ${name}`),
    {
      code: "ERR_MODULE_NOT_FOUND",
    },
  );
