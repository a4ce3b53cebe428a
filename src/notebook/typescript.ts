import { createRequire } from "node:module";

/**
 * The compiler. Taken by `require`, as importing a CommonJS file of this size makes Node read it twice more
 * (to guess its kind and its names), which takes longer than loading it.
 */
const ts: typeof import("typescript") = createRequire(import.meta.url)("typescript");
export default ts;
