// The program a kernel spec names: node main.js --connection-file FILE
import { parseArgs } from "node:util";
import { isExplained } from "../terms/errors.js";
import { startKernel } from "./start-kernel.js";

try {
  const { values } = parseArgs({ options: { "connection-file": { type: "string" } } });
  const file = values["connection-file"];
  if (file === undefined) throw new TypeError("Give the connection file: --connection-file FILE");
  await startKernel(file);
} catch (error) {
  console.error(isExplained(error) || error instanceof TypeError ? error.message : error);
  process.exitCode = error instanceof TypeError ? 2 : 3;
}
