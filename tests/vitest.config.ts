import { defineConfig } from "vitest/config";

export default defineConfig({
  test: {
    root: new URL("..", import.meta.url).pathname,
    include: ["tests/**/*.test.ts"],
    exclude: ["tests/bench/**"],
    testTimeout: 60_000,
    reporters: ["default", new URL("house/closing-line.ts", import.meta.url).pathname],
  },
});
