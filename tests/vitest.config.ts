import { fileURLToPath } from "node:url";
import { defineConfig } from "vitest/config";

export default defineConfig({
  test: {
    root: fileURLToPath(new URL("..", import.meta.url)),
    include: ["tests/**/*.test.ts"],
    exclude: ["tests/bench/**"],
    setupFiles: [fileURLToPath(new URL("house/seed.ts", import.meta.url))],
    // Left to itself it would use one core fewer than there are, and half of two is little.
    maxWorkers: "100%",
    testTimeout: 60_000,
    reporters: ["default", fileURLToPath(new URL("house/closing-line.ts", import.meta.url))],
  },
});
