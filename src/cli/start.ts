import { fileURLToPath } from "node:url";
import { triage } from "./triage.js";

/** The main job on the sample nights, for a first look: `npm start`. */
const nights = fileURLToPath(new URL("../../sample-data/nights", import.meta.url));
const out = fileURLToPath(new URL("../../nightyield-out/sample-data", import.meta.url));
const code = await triage.run([nights, "--out", out]);
if (code === 1)
  console.log("The two damaged files are part of the sample nights; triage itself would end with exit code 1.");
process.exitCode = code > 1 ? code : 0;
