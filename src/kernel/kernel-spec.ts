import { accessSync, existsSync, mkdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { homedir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { CannotError } from "../terms/errors.js";

/** The kernel's name, and that of its folder. */
export const kernelName = "nightyield";

/** What notebook programs read from kernel.json. */
export interface KernelSpec {
  readonly argv: readonly string[];
  readonly display_name: string;
  readonly language: string;
  readonly interrupt_mode: "message";
  readonly metadata: { readonly debugger: false };
}

/** The surroundings that decide where kernels are kept. */
export interface Surroundings {
  readonly platform: NodeJS.Platform;
  readonly home: string;
  readonly env: Readonly<Record<string, string | undefined>>;
}

export const here = (): Surroundings => ({ platform: process.platform, home: homedir(), env: process.env });

/**
 * How a kernel is started: this Node, this package, the connection file.
 * @param connectionFile - its path; in a kernel spec the placeholder that the client fills in
 */
export function kernelArgv(connectionFile = "{connection_file}"): string[] {
  return [process.execPath, fileURLToPath(new URL("./main.js", import.meta.url)), "--connection-file", connectionFile];
}

export const kernelSpec = (): KernelSpec => ({
  argv: kernelArgv(),
  display_name: "nightyield (TypeScript)",
  language: "typescript",
  interrupt_mode: "message",
  metadata: { debugger: false },
});

/**
 * The folder of the user's own kernels. Source: "Data files", documentation of jupyter_core
 * (jupyter.readthedocs.io, use/jupyter-directories).
 */
export function userKernels({ platform, home, env }: Surroundings): string {
  if (env.JUPYTER_DATA_DIR) return join(env.JUPYTER_DATA_DIR, "kernels");
  if (platform === "darwin") return join(home, "Library", "Jupyter", "kernels");
  if (platform === "win32") return join(env.APPDATA ?? join(home, "AppData", "Roaming"), "jupyter", "kernels");
  return join(env.XDG_DATA_HOME || join(home, ".local", "share"), "jupyter", "kernels");
}

/** The folder of kernels below an installation prefix, such as an environment's. */
export const prefixKernels = (prefix: string) => join(prefix, "share", "jupyter", "kernels");

/** All folders where a client on this machine looks, the user's first. */
export function searchedKernels(surroundings: Surroundings): string[] {
  const { platform, env } = surroundings;
  const given = (env.JUPYTER_PATH ?? "").split(platform === "win32" ? ";" : ":").filter(Boolean);
  const system =
    platform === "win32"
      ? [join(env.PROGRAMDATA ?? "C:\\ProgramData", "jupyter")]
      : ["/usr/local/share/jupyter", "/usr/share/jupyter"];
  return [
    ...given.map((path) => join(path, "kernels")),
    userKernels(surroundings),
    ...system.map((path) => join(path, "kernels")),
  ];
}

/**
 * Writes the kernel spec.
 * @param kernels - the folder of kernels
 * @returns the folder that was made
 * @throws CannotError when it cannot be written
 */
export function installKernel(kernels: string): string {
  const folder = join(kernels, kernelName);
  try {
    mkdirSync(folder, { recursive: true });
    writeFileSync(join(folder, "kernel.json"), `${JSON.stringify(kernelSpec(), null, 2)}\n`);
  } catch (cause) {
    throw new CannotError(
      `Cannot write ${folder}: ${(cause as Error).message}. Choose another place with --prefix DIR`,
      {
        cause,
      },
    );
  }
  return folder;
}

/** Takes the kernel spec away. @returns its folder, or undefined when there was none */
export function removeKernel(kernels: string): string | undefined {
  const folder = join(kernels, kernelName);
  if (!existsSync(join(folder, "kernel.json"))) return undefined;
  try {
    accessSync(folder);
    rmSync(folder, { recursive: true });
  } catch (cause) {
    throw new CannotError(`Cannot remove ${folder}: ${(cause as Error).message}`, { cause });
  }
  return folder;
}

/** An installed kernel spec and what is wrong with it; empty: it can be started. */
export interface InstalledKernel {
  readonly folder: string;
  readonly trouble: string;
}

/** The installed kernel spec in a folder of kernels. */
export function installedKernel(kernels: string): InstalledKernel | undefined {
  const folder = join(kernels, kernelName);
  const file = join(folder, "kernel.json");
  if (!existsSync(file)) return undefined;
  try {
    const { argv } = JSON.parse(readFileSync(file, "utf8")) as KernelSpec;
    const missing = argv.slice(0, 2).find((path) => !existsSync(path));
    return { folder, trouble: missing === undefined ? "" : `${missing} is not there any more; install it again` };
  } catch (error) {
    return { folder, trouble: `kernel.json cannot be read (${(error as Error).message}); install it again` };
  }
}
