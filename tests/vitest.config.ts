import { fileURLToPath } from "node:url";
import { defineConfig } from "vitest/config";
import LongestFirst from "./house/longest-first.js";

const root = fileURLToPath(new URL("..", import.meta.url));
/**
 * `npm test` builds first, so what tests import from src/ is taken as it was built: run by Node itself, what simulates
 * and measures takes two thirds of the time it takes through the test runner. Started by itself, the runner takes src/ as
 * it is now.
 */
const isBuilt = process.env.npm_lifecycle_event === "test";
const dist = `${root.replaceAll("\\", "/")}dist/`;
const built = { alias: [{ find: /^(?:\.\.\/)+src\/(.+\.js)$/, replacement: `${dist}$1` }] };

export default defineConfig({
  ...(isBuilt && { resolve: built }),
  test: {
    root,
    include: ["tests/**/*.test.ts"],
    exclude: ["tests/bench/**"],
    globalSetup: [fileURLToPath(new URL("house/sample-store.ts", import.meta.url))],
    setupFiles: [fileURLToPath(new URL("house/seed.ts", import.meta.url))],
    server: { deps: { external: [new RegExp(dist.replaceAll(/[^\w/]/g, "\\$&"))] } },
    // Left to itself it would use one core fewer than there are, and half of two is little.
    maxWorkers: "100%",
    testTimeout: 60_000,
    sequence: { sequencer: LongestFirst },
    reporters: ["default", fileURLToPath(new URL("house/closing-line.ts", import.meta.url))],
  },
});
