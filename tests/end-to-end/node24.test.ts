// One seed gives the same bytes under Node 24 (the npm package `node`, fetched for this test only) as under this Node.
import { spawnSync } from "node:child_process";
import { createHash } from "node:crypto";
import { mkdtempSync, readdirSync, readFileSync, rmSync, statSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, describe, expect, it } from "vitest";

const root = fileURLToPath(new URL("../../", import.meta.url));
const npm = (args: readonly string[]) =>
  spawnSync("npm", ["exec", "--yes", "--package=node@24", "--", "node", ...args], {
    cwd: root,
    encoding: "utf8",
    shell: process.platform === "win32",
    timeout: 240_000,
  });
const version = npm(["--version"]);
const there = version.status === 0 && version.stdout.trim().startsWith("v24.");
if (!there && process.env.CI) throw new Error(`Node 24 cannot be had: ${version.stderr}`);

const folder = mkdtempSync(join(tmpdir(), "nightyield-node24-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

function inventory(below: string): string[] {
  return readdirSync(below, { recursive: true, encoding: "utf8" })
    .filter((name) => statSync(join(below, name)).isFile())
    .map(
      (name) =>
        `${name} ${createHash("sha256")
          .update(readFileSync(join(below, name)))
          .digest("hex")}`,
    )
    .sort();
}

describe.skipIf(!there)(`Node 24${there ? "" : " (skipped: npm cannot get the package node@24)"}`, () => {
  it("simulates the same bytes as this Node", () => {
    const make = (out: string) => [
      join(root, "dist/cli/main.js"),
      "simulate",
      join(root, "sample-data/scenarios/garden-autumn.json"),
      "--out",
      join(folder, out),
      "--frames",
      "6",
    ];
    expect(spawnSync(process.execPath, make("here")).status).toBe(0);
    expect(npm(make("there")).status).toBe(0);
    const here = inventory(join(folder, "here"));
    expect(here.length).toBeGreaterThan(15);
    expect(inventory(join(folder, "there"))).toEqual(here);
    console.log(`${here.length} files, the same bytes under ${process.version} and ${version.stdout.trim()}`);
  }, 300_000);
});
