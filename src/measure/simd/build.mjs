// Compiles kernels.as.ts and what it imports to WebAssembly and embeds it as text, so that it works wherever the JavaScript does.
import { existsSync, readFileSync, writeFileSync } from "node:fs";
import asc from "assemblyscript/asc";

const place = (name) => new URL(name, import.meta.url);
let bytes;
const { error, stderr } = await asc.main(
  [
    "kernels.as.ts",
    "-O3",
    "--noAssert",
    "--runtime",
    "stub",
    "--enable",
    "simd",
    "--importMemory",
    "--memoryBase",
    "1024",
    "--outFile",
    "kernels.wasm",
  ],
  {
    readFile: (name) =>
      /^[a-z-]+\.as\.ts$/.test(name) && existsSync(place(name)) ? readFileSync(place(name), "utf8") : null,
    writeFile: (name, contents) => {
      if (name === "kernels.wasm") bytes = contents;
    },
    listFiles: () => [],
  },
);
if (error) {
  console.error(stderr.toString());
  throw error;
}
const text = Buffer.from(bytes).toString("base64");
writeFileSync(
  place("bytes.ts"),
  `// Made by build.mjs from kernels.as.ts: ${bytes.length} bytes of WebAssembly.\nexport const kernelBytes =\n  "${text}";\n`,
);
console.log(`kernels: ${bytes.length} bytes of WebAssembly`);
