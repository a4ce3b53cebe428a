import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { writeLists } from "../../src/act/night-files.js";
import { type NightRequest, type TriagedNight, triageNight } from "../../src/night.js";
import { summaryJson } from "../../src/show/summary-json.js";

/**
 * What triage writes besides report and notebook, for tests of what is made from it: a notebook takes longer to run than
 * a small night to measure, and threads longer to start.
 */
export async function triaged(
  folders: readonly string[],
  out: string,
  request: Pick<NightRequest, "jobs" | "store"> = {},
): Promise<TriagedNight> {
  const night = await triageNight(folders, { version: "test", ...request });
  writeLists(out, { table: night.table, paths: night.paths, folders });
  writeFileSync(join(out, "summary.json"), summaryJson(night));
  return night;
}
