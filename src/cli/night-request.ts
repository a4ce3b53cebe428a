import { availableParallelism } from "node:os";
import type { NightRequest } from "../night.js";
import { wholeNumber } from "./command.js";
import { givenFrom, limitsFrom, type NightFlagValues, refuseInside } from "./night-flags.js";
import { type Progress, progressOn } from "./progress.js";
import { storePlace } from "./store-place.js";
import { version } from "./version.js";

const mostJobs = 8;

/**
 * What a night is asked for on the command line, with progress on the terminal. Call `end` when it is measured: it ends
 * the progress line and tells what went wrong with the store.
 * @throws CallError when a flag cannot be understood, or the store would lie among the subs
 */
export function nightRequest(
  values: NightFlagValues,
  folders: readonly string[],
): { readonly request: NightRequest; readonly end: () => void } {
  const jobs =
    values.jobs === undefined ? Math.min(mostJobs, availableParallelism()) : wholeNumber(values.jobs, "jobs", 1, 256);
  const store = storePlace(values.store);
  if (store !== undefined) refuseInside(store, folders, "store");
  const measuring = progressOn(process.stderr, "measuring");
  const notes: string[] = [];
  let matching: Progress | null = null;
  return {
    request: {
      ...givenFrom(values),
      ...limitsFrom(values),
      version: version(),
      jobs,
      ...(store !== undefined && { store }),
      onProgress: (done, total) => measuring.step(done, total),
      onMatching(done, total) {
        if (matching === null) measuring.end();
        matching ??= progressOn(process.stderr, "matching");
        matching.step(done, total);
      },
      onNote: (note) => notes.push(note),
    },
    end() {
      (matching ?? measuring).end();
      for (const note of notes) console.error(`note: ${note}`);
    },
  };
}
