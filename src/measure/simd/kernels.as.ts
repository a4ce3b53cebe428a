// The hot loops in AssemblyScript with SIMD; `npm run build` compiles them and embeds them (build.mjs). Each function has
// its plain TypeScript twin, named beside it, which is the reference and takes over where SIMD is not there. Addresses are
// bytes in the memory shared with TypeScript, laid out in workspace.ts. No allocation anywhere here.
export * from "./growth.as";
export * from "./light.as";
export * from "./look.as";
export * from "./moffat.as";
export * from "./moments.as";
export * from "./peaks.as";
export * from "./sky.as";
export * from "./stamps.as";
export * from "./streaks.as";
export * from "./sums.as";
