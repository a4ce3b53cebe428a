import { spawn } from "node:child_process";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { parseScenario } from "../../src/simulate/scenario.js";
import { writeNights } from "../../src/simulate/write-night.js";

export const root = fileURLToPath(new URL("../../", import.meta.url));

export interface Ended {
  readonly status: number | null;
  readonly signal: NodeJS.Signals | null;
  readonly stdout: string;
  readonly stderr: string;
}

/** Starts the built command line; `ended` resolves when it has ended. */
export function start(args: readonly string[], cwd: string) {
  const child = spawn(process.execPath, [join(root, "dist/cli/main.js"), ...args], { cwd });
  const texts = { stdout: "", stderr: "" };
  for (const name of ["stdout", "stderr"] as const)
    child[name].on("data", (piece: Buffer) => {
      texts[name] += piece.toString();
    });
  const ended = new Promise<Ended>((done) => child.on("close", (status, signal) => done({ status, signal, ...texts })));
  return { child, ended };
}

export const run = (args: readonly string[], cwd: string): Promise<Ended> => start(args, cwd).ended;

/** Writes a scenario's frames below a folder and gives the folder of its first night. */
export function nightOf(name: string, folder: string, frames?: number): string {
  const json = readFileSync(join(root, "tests/scenarios", `${name}.json`), "utf8");
  return writeNights(parseScenario(json, name), folder, frames === undefined ? {} : { frames }).folders[0]!;
}
