import { spawnSync } from "node:child_process";

/** Debian's Python, which has the reference libraries. */
export const python = "/usr/bin/python3";
const found = new Map<string, boolean>();

/** True when a Python module is there. In continuous integration it has to be. */
export function hasPython(module: string): boolean {
  const known = found.get(module) ?? spawnSync(python, ["-c", `import ${module}`]).status === 0;
  found.set(module, known);
  if (!known && process.env.CI) throw new Error(`${module} is missing for ${python}: .ci/run must install it`);
  return known;
}

export const withoutPython = (module: string) => `skipped: ${python} has no ${module}`;
